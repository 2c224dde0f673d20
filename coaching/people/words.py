"""Our words in place of the account library's own, on its pages, in its messages and e-mails.

They join Django's English catalogue, so that a page of the library that nobody here has drawn
speaks as the rest does. Left: the library's sentence, as its sources hold it.
"""

from __future__ import annotations

import gettext
import io
import struct
from collections.abc import Mapping

from django.conf import settings
from django.utils.translation import trans_real

WORDS = {
    # Asked for the password again
    "Confirm Access": "Sign in again",
    "Please reauthenticate to safeguard your account.": (
        "What comes next is only for you, so we ask once more who you are."
    ),
    "Enter your password:": "Type your password:",
    "Alternative options": "Or in another way",
    "Request Code": "Send the code",
    "Send me a sign-in code": "Send me a code by e-mail",
    "Enter Sign-In Code": "Type the code",
    "We've sent a code to %(recipient)s. The code expires shortly, so please enter it soon.": (
        "We sent a code to %(recipient)s. It works for a few minutes."
    ),
    "Request new code": "Send a new code",
    "Use authenticator app or code": "Use the code of your app",
    "Sign-In Code": "Your code for Causeway",
    "Your sign-in code is listed below. Please enter it in your open browser window.": (
        "This is your code. Type it on the page that asks for it."
    ),
    "This mail can be safely ignored if you did not initiate this action.": (
        "If it was not you, leave this e-mail alone: nothing happens."
    ),
    # Signing out, and what an account may not do
    "Sign In": "Sign in",
    "Sign Out": "Sign out",
    "Are you sure you want to sign out?": "Sign out of this device?",
    "You have signed out.": "You are signed out.",
    "Account Inactive": "This account is closed",
    "This account is inactive.": "Nobody can sign in with it. Ask the studio to open it again.",
    "This account is currently inactive.": "This account is closed. Ask the studio to open it.",
    "Be patient, you are sending too many requests.": "Too often: try again in a few minutes.",
    "Too many failed login attempts. Try again later.": (
        "Too many wrong tries. Wait a few minutes, or set a new password."
    ),
    # The address
    "Email": "E-mail",
    "Email address": "name@example.org",
    "Email Address": "Your e-mail address",
    "Current email": "Your address",
    "Changing to": "Your new address",
    "Change to": "New address",
    "Change Email": "Change the address",
    "Cancel Change": "Keep the old address",
    "Re-send Verification": "Send the link again",
    "Your email address is still pending verification.": (
        "It counts once you have opened the link in the e-mail to it."
    ),
    "Confirm Email Address": "Is this your address?",
    "Verify Your Email Address": "Is this your address?",
    "We have sent an email to you for verification. Follow the link provided to finalize the"
    " signup process. If you do not see the verification email in your main inbox, check your"
    " spam folder. Please contact us if you do not receive the verification email within a few"
    " minutes.": "Open the link in the e-mail to it. If nothing comes, look among the spam.",
    'Please confirm that <a href="mailto:%(email)s">%(email)s</a> is an email address for user'
    " %(user_display)s.": "Is %(email)s the address of %(user_display)s?",
    "Unable to confirm %(email)s because it is already confirmed by a different account.": (
        "%(email)s belongs to another account here."
    ),
    'This email confirmation link expired or is invalid. Please <a href="%(email_url)s">issue a'
    " new email confirmation request</a>.": (
        'This link has expired or is not whole. <a href="%(email_url)s">Send a new one</a>.'
    ),
    "You have confirmed %(email)s.": "%(email)s is your address.",
    "Removed email address %(email)s.": "%(email)s is removed.",
    "A user is already registered with this email address.": (
        "This address belongs to an account here already."
    ),
    "This email address is already associated with this account.": "This is your address already.",
    "Email Changed": "Your address at Causeway has changed",
    "Your email has been changed from %(from_email)s to %(to_email)s.": (
        "your address at Causeway is now %(to_email)s; it was %(from_email)s."
    ),
    # The password
    "Change Password": "Change your password",
    "Password Reset": "Set a new password",
    "Current Password": "Your password now",
    "New Password": "New password",
    "New Password (again)": "New password again",
    "Please type your current password.": "Type the password that you have now.",
    "Incorrect password.": "That is not the password. Try again.",
    "You must type the same password each time.": "The two new passwords differ. Type them again.",
    "Password successfully changed.": "Your new password is set.",
    "Password successfully set.": "Your password is set.",
    "Your password is now changed.": "Your new password is set.",
    "Password Changed": "Your password at Causeway has changed",
    "Your password has been changed.": "your password at Causeway has been changed.",
    "Your password has been reset.": "your password at Causeway has been changed.",
    # The second step
    "Two-Factor Authentication": "A second step at sign-in",
    "Your account is protected by two-factor authentication. Please enter an authenticator code:": (
        "Type the code that your app shows now, or one of your spare codes:"
    ),
    "Enter an authenticator code:": "Type the code that your app shows now:",
    "Authenticator code": "Code of the app",
    "Incorrect code.": "That code does not fit. Type the one that the app shows now.",
    "Authenticator App": "An app that shows codes",
    "Authentication using an authenticator app is active.": "It is set up.",
    "An authenticator app is not active.": (
        "An app on your phone shows a new code every half minute; you type it after your password."
        " It is not set up."
    ),
    "Activate": "Set it up",
    "Deactivate": "Switch it off",
    "Activate Authenticator App": "Set up an app that shows codes",
    "To protect your account with two-factor authentication, scan the QR code below with your"
    " authenticator app. Then, input the verification code generated by the app below.": (
        "Scan this picture with the app on your phone, then type the code that the app shows."
    ),
    "Authenticator secret": "Or type this into the app",
    "You can store this secret and use it to reinstall your authenticator app at a later time.": (
        "Keep it where nobody else looks: it sets the app up again on another phone."
    ),
    "Deactivate Authenticator App": "Switch the app's codes off",
    "You are about to deactivate authenticator app based authentication. Are you sure?": (
        "Without them your password alone opens your account."
    ),
    "Authenticator app activated.": "The second step is set up.",
    "Authenticator app deactivated.": "The second step is off.",
    "Authenticator App Activated": "The second step is set up",
    "Authenticator App Deactivated": "The second step is off",
    "You cannot activate two-factor authentication until you have verified your email address.": (
        "First open the link in the e-mail to your address; then set the second step up."
    ),
    "Recovery Codes": "Spare codes",
    "No recovery codes set up.": (
        "For the day the phone is lost: each opens your account once. They are made when the app"
        " is set up."
    ),
    "Unused codes": "Codes that still work",
    "Download codes": "Download them",
    "Generate new codes": "Make new ones",
    "I have saved my recovery codes": "I have kept my spare codes",
    "You are about to generate a new set of recovery codes for your account.": (
        "Each spare code opens your account once, when the phone with the app is lost."
    ),
    "This action will invalidate your existing codes.": "The old ones stop working.",
    "A new set of recovery codes has been generated.": "Your new spare codes are made.",
    "Save them  in a secure location now — they won't be shown again.": (
        "Keep them where nobody else looks: they are not shown again."
    ),
    "New Recovery Codes Generated": "New spare codes",
    "A new set of Two-Factor Authentication recovery codes has been generated.": (
        "new spare codes were made for your account at Causeway."
    ),
    "Security Keys": "Passkeys and security keys",
    "No security keys have been added.": (
        "Your phone or computer, by finger, face or PIN, or a key you carry. There is none yet."
    ),
    "Add Security Key": "Add a passkey or security key",
    "Edit Security Key": "Rename the key",
    "Remove Security Key": "Remove the key",
    "Are you sure you want to remove this security key?": "It no longer opens your account.",
    "Security key added.": "The key is added.",
    "Security key removed.": "The key is removed.",
    "Security Key Added": "A key was added",
    "Security Key Removed": "A key was removed",
    "A new security key has been added.": "a key was added to your account at Causeway.",
    "A security key has been removed.": "a key was removed from your account at Causeway.",
    "Passwordless": "Sign in with it alone, without the password",
    "Enabling passwordless operation allows you to sign in using just this key, but imposes"
    " additional requirements such as biometrics or PIN protection.": (
        "The key must then ask for your finger, face or PIN."
    ),
    "Master key": "First key",
    "Backup key": "Second key",
    "Key nr. {number}": "Key {number}",
    "This functionality requires JavaScript.": "This needs scripts: allow them in your browser.",
    # Where somebody is signed in
    "Sessions": "Where you are signed in",
    "Started At": "Since",
    "IP Address": "From",
    "Last seen at": "Last used",
    "Current": "this device",
    "Sign Out Other Sessions": "Sign out everywhere else",
    "Signed out of all other sessions.": "You are signed out everywhere else.",
}


def use_our_words() -> None:
    """Put `WORDS` over the catalogue of the site's language, once per process."""
    catalogue = gettext.GNUTranslations(io.BytesIO(_compiled(WORDS)))
    trans_real.translation(settings.LANGUAGE_CODE).merge(catalogue)


def _compiled(words: Mapping[str, str]) -> bytes:
    """The table in the format of a `.mo` file: GNU gettext manual, "The Format of GNU MO Files"."""
    rows = sorted({"": "Content-Type: text/plain; charset=UTF-8\n", **words}.items())
    texts = [[text.encode() for text in column] for column in zip(*rows, strict=True)]
    at = 28 + 16 * len(rows)
    tables, body = b"", b""
    for column in texts:
        for text in column:
            tables += struct.pack("<2I", len(text), at + len(body))
            body += text + b"\0"
    head = (0x950412DE, 0, len(rows), 28, 28 + 8 * len(rows), 0, 0)
    return struct.pack("<7I", *head) + tables + body
