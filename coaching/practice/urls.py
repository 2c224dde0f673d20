from django.urls import path

from coaching.practice.views import (
    assigning,
    judging,
    library,
    pain,
    practising,
    progress,
    showing,
    student,
)

app_name = "practice"
urlpatterns = [
    # The student
    path("drill/<int:pk>/", student.drill, name="drill"),
    path("drill/<int:pk>/practise/", practising.page, name="practise"),
    path("drill/<int:pk>/practised", practising.practised, name="practised"),
    path("drill/<int:pk>/hurts", pain.hurts, name="hurts"),
    path("attempt/<int:pk>/feel", student.feel, name="feel"),
    path("clip/<int:pk>/answers", student.self_answers, name="self_answers"),
    path("verdict/<int:pk>/", student.verdict_read, name="verdict_read"),
    path("verdict/<int:pk>/voice", student.voice, name="voice"),
    path("students/<int:pk>/progress/", progress.progress, name="progress"),
    path("students/<int:pk>/pain/", pain.pain, name="pain"),
    path("pain/<int:pk>/", pain.pain_where, name="pain_where"),
    path("pain/<int:pk>/take-back", pain.take_back, name="take_back_pain"),
    path("pain/<int:pk>/statement", pain.statement, name="statement"),
    # The coach
    path("attempt/<int:pk>/", judging.judge, name="judge"),
    path("attempt/<int:pk>/verdict", judging.verdict, name="verdict"),
    path("verdict/<int:pk>/take-back", judging.take_back, name="take_back"),
    path("pain/<int:pk>/report/", judging.pain_report, name="pain_report"),
    path("pain/<int:pk>/seen", judging.pain_seen, name="pain_seen"),
    path("pain/<int:pk>/reopen", judging.reopen, name="reopen"),
    path("drill/<int:pk>/check", judging.check_film, name="check_film"),
    path("drill/<int:pk>/no-check", judging.skip_check, name="skip_check"),
    # The review room's sidebar
    path("review/<draft:ref>/drills/", assigning.sidebar, name="sidebar"),
    path("review/<draft:ref>/drills/assign/", assigning.assign, name="assign"),
    path("drill/<int:pk>/unassign", assigning.unassign, name="unassign"),
    path("drill/<int:pk>/ahead/", assigning.ahead, name="ahead"),
    path("students/<int:pk>/odds", assigning.odds, name="odds"),
    # The library
    path("drills/", library.library, name="library"),
    path("drills/new/", library.write, name="library_new"),
    path("drills/odds", library.odds, name="library_odds"),
    path("drills/preview", library.preview, name="library_preview"),
    path("drills/import", library.take_in, name="library_import"),
    path("drills/starter", library.starter, name="library_starter"),
    path("drills/export.json", library.give_out, name="library_export"),
    path("drills/<int:pk>/", library.show, name="library_drill"),
    path("drills/<int:pk>/edit/", library.write, name="library_edit"),
    path("drills/<int:pk>/retire", library.retire, name="library_retire"),
    # The coach's own picture or clip
    path("drills/version/<int:pk>/shown", showing.of_version, name="shown_version"),
    path("drill/<int:pk>/shown", showing.of_assignment, name="shown_assignment"),
    path("step/<int:pk>/shown", showing.of_step, name="shown_step"),
    path("drill/<int:pk>/show", showing.show, name="show"),
]
