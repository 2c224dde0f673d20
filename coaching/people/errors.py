"""The one domain error: something cannot be done, and what to do instead."""

from __future__ import annotations

from typing import Any


class LessonError(Exception):
    """Raised by services; views show the sentence beside the form, the API answers with it.

    Parameters
    ----------
    sentence : str
        One clear sentence that says what to do.
    code : str
        Stable name for programs.
    status : int
        HTTP status: 400 wrong input, 409 somebody was faster, 410 gone, 413 too big.
    extra : Any
        Plain JSON values for programs.
    """

    def __init__(
        self, sentence: str, *, code: str = "refused", status: int = 400, **extra: Any
    ) -> None:
        super().__init__(sentence)
        self.sentence = sentence
        self.code = code
        self.status = status
        self.extra = extra
