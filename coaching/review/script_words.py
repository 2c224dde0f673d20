"""The sentences and addresses that the review room's scripts use, by name.

A page hands them to its scripts as one block of JSON (`{% script_words %}`); `say` and `urlOf` of
`static/js/review/words.js` read it. What stands in braces is put in by the script.
"""

from __future__ import annotations

from typing import Any

from django.urls import reverse
from django.utils.translation import gettext_lazy as _l

SENTENCES = {
    "no_answer": _l("The server did not answer. Try again in a moment."),
    "signed_out": _l(
        "You are signed out. Sign in in another tab, then try again; what you wrote stays here."
    ),
    "erased_meanwhile": _l(
        "This is no longer here: it was erased meanwhile. Reload the page to see what stands."
    ),
    "kept": _l("Kept"),
    "words_not_kept": _l("Not kept yet, no connection. Your words stay here; trying again."),
    "from_other_window": _l("From the other window"),
    "from_this_window": _l("From this window"),
    "both_in_turn": _l("Both, one after the other"),
    "empty": _l("(empty)"),
    "keep_both": _l("Keep both"),
    "keep_this": _l("Keep this"),
    "caption_here": _l("Caption line here"),
    "caption_at": _l("Caption at {time}"),
    "work_on_this": _l("Work on this one"),
    "lines_beside": _l("Lines on the clip beside"),
    "lines_other": _l("Lines on the other clip"),
    "event_by_event": _l("event by event, stretched"),
    "laid_over": _l("laid over each other at {event}"),
    "take_back": _l("Take back"),
    "take_back_what": _l("Take back: {what}"),
    "tap_joint": _l("Tap where the {joint} is. Arrow keys and Enter do the same."),
    "tap_shaft": _l(
        "Tap the hands on the handle, then the club head. Arrow keys and Enter do the same."
    ),
    "moved_figures": _l("Moved. The figures follow; the first reading is kept beside them."),
    "taken_back_reading": _l("Taken back: what the computer read stands again."),
    "shaft": _l("shaft"),
    "lines_on_clip": _l("Lines on the clip"),
    "still_measuring": _l(
        "This clip is still being measured. You can look at it; the figures come by themselves."
    ),
    "not_agreed": _l("The student has not agreed to measuring. Judge this clip by eye."),
    "not_measurable": _l(
        "This clip could not be measured. You can judge it by eye, or ask for it again."
    ),
    "clip_erased": _l("This clip was erased. What was measured and written stays."),
    "picture_missing": _l(
        "The picture of this clip can’t be loaded. Reload the page; if it stays so, it was erased."
    ),
    "connection_gone": _l(
        "The connection is gone. What you said until it broke is kept with the review."
    ),
    "recording_not_kept": _l("The recording can’t be kept now. Type your notes instead."),
    "overlay_shaft": _l("Shaft"),
    "overlay_hands": _l("Path of the hands"),
    "overlay_balance": _l("Weight over the foot"),
    "overlay_seat": _l("Seat line from address"),
    "overlay_head": _l("Head at address"),
    "overlay_feet": _l("Foot line from address"),
    "overlay_shaft_address": _l("Shaft at address"),
    "key_back": _l("one frame back"),
    "key_forward": _l("one frame on"),
    "key_back10": _l("ten frames back"),
    "key_forward10": _l("ten frames on"),
    "key_previous": _l("event before"),
    "key_next": _l("next event"),
    "key_play": _l("play or pause"),
    "key_loop": _l("loop between events"),
    "key_slower": _l("slower"),
    "key_faster": _l("faster"),
    "key_closer": _l("closer"),
    "key_body": _l("fill with the body"),
    "key_whole": _l("whole picture"),
    "key_undo": _l("undo"),
    "mark_seat_line": _l("Seat line"),
    "hint_seat_line": _l("Tap behind the seat."),
    "mark_foot_line": _l("Foot line"),
    "hint_foot_line": _l("Tap the heel, then the toes."),
    "mark_shaft_wanted": _l("Shaft wanted"),
    "hint_shaft_wanted": _l("Tap the hands, then where the club should point."),
    "mark_body_line": _l("Body line"),
    "hint_body_line": _l("Tap two places on the body."),
    "mark_way": _l("Direction"),
    "hint_way": _l("Tap the start, then the end."),
    "mark_bend": _l("Bend"),
    "hint_bend": _l("Tap one end, the corner, the other end."),
    "mark_look": _l("Look here"),
    "hint_look": _l("Tap the middle, then the edge."),
    "mark_sketch": _l("Free hand"),
    "hint_sketch": _l("Draw; lift to finish."),
    "mark_text": _l("Words"),
    "hint_text": _l("Tap where the words belong."),
    "by_eye": _l("about {angle}° by eye"),
    "hint_keys": _l("{hint} Arrow keys and Enter do the same; Escape puts the tool away."),
    "mark_not_kept": _l("Not kept yet, no connection. It stays on this page; trying again."),
    "what_you_see": _l("What you see here"),
    "words_for": _l("Words for {name} at {range}"),
    "from_to": _l("{from} to {to}"),
    "on_drill_page": _l("On the drill page"),
    "this_moment_only": _l("This moment only"),
    "until_here": _l("Until here"),
    "later_first": _l("Step to a later moment first."),
    "tap_to_move": _l("Tap where it should go. Arrow keys and Enter do the same."),
    "note": _l("Note"),
    "move": _l("Move"),
    "remove": _l("Remove"),
    "place_on_picture": _l("Place on the picture. Arrow keys move, Enter places, Escape stops."),
    "time_of_clip": _l("Time of the clip"),
    "events": _l("Events"),
    "moved": _l("moved"),
    "no_microphone": _l(
        "The microphone is not open to this page. Allow it in the address bar, or type "
        "notes on the moments instead."
    ),
    "recording": _l("Recording. Speak and show; everything you do is kept with it."),
    "paused": _l("Paused. Nothing is recorded; press Pause again to go on."),
    "waiting_connection": _l(" · waiting for the connection"),
    "twenty_minutes": _l(
        "Twenty minutes are full. What you said is kept; begin a second walk-through for more."
    ),
    "last_words": _l("Keeping the last words …"),
    "walk_kept": _l("Your walk-through is kept. Add captions now or later."),
    "film_kept": _l("Your film is kept; it is shown with the review."),
    "sending_film": _l("Sending your film, {percent} %"),
    "film_not_kept": _l("This film can’t be kept. Send an MP4 of at most three minutes."),
    "choose_film_again": _l("The connection is gone. Choose the film again to go on."),
    "choose_key": _l("{label}: {shortcut}. Press to choose another key."),
    "press_a_key": _l("press a key"),
    "choose_version": _l("Choose one of the two versions of your words first."),
    "wait_then_send": _l("Your words are not kept yet. Wait for the connection, then send."),
    "not_sent": _l("The lesson could not be sent now. Nothing is lost; try again."),
    "walk_number": _l("Walk-through {number}"),
    "remove_what": _l("Remove {what}"),
    "broke_off": _l("{name}: this recording broke off."),
    "keep_arrived": _l("Keep what arrived"),
    "own_film": _l("Your own film"),
    "forget": _l("Forget"),
    "forget_what": _l("Forget: {what}"),
}

# Each names one row: a 0 stands for its key. `compare` names none.
ADDRESSES = (
    "captions", "change_mark", "correct", "data", "demonstrate", "figures", "finish_walk",
    "remove_mark", "remove_snippet", "remove_walk", "resolve", "save_walk", "undo",
)  # fmt: skip


def script_words() -> dict[str, Any]:
    at = {name: reverse(f"review:{name}", args=[0]) for name in ADDRESSES}
    return {
        "say": {name: str(sentence) for name, sentence in SENTENCES.items()},
        "at": at | {"compare": reverse("review:compare")},
    }
