"""The review room, the student's reading page, and one JSON endpoint per need.

The endpoints are ordinary API views: sessions (with CSRF) and tokens both work, and a
`LessonError` becomes its sentence and status in the one handler of the API.
"""
