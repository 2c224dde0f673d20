// Tells the form of a new account the browser's own time zone. Without script, or with a zone
// that the server does not know, the account reads the studio's clock.
for (const field of document.querySelectorAll('input[name="time_zone"][type="hidden"]'))
  field.value = Intl.DateTimeFormat().resolvedOptions().timeZone ?? "";
