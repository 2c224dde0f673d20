from django.urls import path

from coaching.practice.views import assigning, judging, library, student

app_name = "practice"
urlpatterns = [
    # The student
    path("drill/<int:pk>/", student.drill, name="drill"),
    path("drill/<int:pk>/hurts", student.hurts, name="hurts"),
    path("attempt/<int:pk>/feel", student.feel, name="feel"),
    path("clip/<int:pk>/answers", student.self_answers, name="self_answers"),
    path("verdict/<int:pk>/voice", student.voice, name="voice"),
    path("students/<int:pk>/progress/", student.progress, name="progress"),
    path("students/<int:pk>/pain/", student.pain, name="pain"),
    path("pain/<int:pk>/", student.pain_where, name="pain_where"),
    path("pain/<int:pk>/statement", student.statement, name="statement"),
    # The coach
    path("attempt/<int:pk>/", judging.judge, name="judge"),
    path("attempt/<int:pk>/verdict", judging.verdict, name="verdict"),
    path("pain/<int:pk>/report/", judging.pain_report, name="pain_report"),
    path("pain/<int:pk>/seen", judging.pain_seen, name="pain_seen"),
    path("pain/<int:pk>/reopen", judging.reopen, name="reopen"),
    path("drill/<int:pk>/check", judging.check_film, name="check_film"),
    path("drill/<int:pk>/no-check", judging.skip_check, name="skip_check"),
    # The review room's margin
    path("review/<int:pk>/drills/", assigning.margin, name="margin"),
    path("review/<int:pk>/drills/assign/", assigning.assign, name="assign"),
    path("drill/<int:pk>/unassign", assigning.unassign, name="unassign"),
    path("review/<int:pk>/send", assigning.publish, name="publish"),
    path("students/<int:pk>/odds", assigning.odds, name="odds"),
    # The library
    path("drills/", library.library, name="library"),
    path("drills/new/", library.write, name="library_new"),
    path("drills/import", library.take_in, name="library_import"),
    path("drills/starter", library.starter, name="library_starter"),
    path("drills/export.json", library.give_out, name="library_export"),
    path("drills/<int:pk>/", library.show, name="library_drill"),
    path("drills/<int:pk>/edit/", library.write, name="library_edit"),
    path("drills/<int:pk>/retire", library.retire, name="library_retire"),
    path("drills/version/<int:pk>/shown", library.shown, name="shown"),
]
