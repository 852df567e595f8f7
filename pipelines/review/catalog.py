"""Every sentence that the review page shows, in one place, and the words that its decisions keep as their reason.

Plain text: the templates escape it. Fields in braces are filled with str.format.
"""

from __future__ import annotations

TEXTS = {
    "title": "Review",
    "case": "Case {case}",
    "reviewer": "Decisions are kept under the name {name}.",
    "waiting": "{count} waiting, {done} decided in this sitting",
    "no_proof": "A year here is an estimate, never a proof of age.",
    "reading": "Read as",
    "no_reading": "No serial was read on this photo.",
    "sure": "{percent} sure",
    "maker": "Maker",
    "maker_unknown": "not known, so no number gives a year here",
    "years": "about {year} ({first} to {last})",
    "no_years": "no year",
    "crop": "The mark",
    "crop_alt": "The mark cut out of the photo, read from left to right as {text}.",
    "views": "The same mark, enhanced",
    "view_alt": "The mark in the view {name}: {shows}.",
    "photo": "The photo",
    "photo_alt": "The whole photo {path}, the mark outlined with a thick solid line, other marks with thin dashes.",
    "photo_missing": "The photo cannot be shown: {reason}. Below is what is stored of it.",
    "photo_changed": "{path} is no longer the file that was read (its SHA-256 differs)",
    "photo_turned": "{path} has other dimensions than when it was read",
    "no_mark": "no mark to cut out",
    "marks": "Marks on this photo",
    "mark_line": "{text} ({kind}, {percent})",
    "next_mark": "Next mark",
    "next_photo": "Next photo",
    "photo_of": "Photo {number} of {count}",
    "decide": "Your decision",
    "accept": "Accept {text}",
    "rivals": "Or it is",
    "elsewhere": "another mark: {kind}",
    "type": "Another number",
    "record": "Record this number",
    "not_a_serial": "Not a serial",
    "cannot_be_read": "Cannot be read",
    "skip": "Skip",
    "undo": "Undo",
    "note": "Why (kept with the decision, may stay empty)",
    "keys_on": "Turn single keys on",
    "keys_off": "Turn single keys off",
    "history": "Decided so far",
    "decision_line": "{what} by {by}, {at}: {because}",
    "advice": "Advice that was given",
    "decided_since": "While you were looking, {by} decided: {what}. Yours was not recorded. Decide again to record "
    "yours after it (the later one counts; both stay), or skip to leave it so.",
    "decided_both": "Case {case}: {by} decided too at this moment: {what}. Both are kept; yours is the later one and "
    "counts. Undo takes it back.",
    "recorded": "Case {case}: recorded: {what}.",
    "skipped": "Case {case} skipped; it waits.",
    "undone": "Case {case}: your decision was taken back; both stay in its history.",
    "undo_none": "There is nothing of this sitting to undo.",
    "undo_late": "Case {case}: {by} has decided since; nothing was undone.",
    "merged": "Case {case} is part of case {into} now.",
    "finished": "No case waits for a decision.",
    "finished_skipped": "Only the cases that you skipped wait: {count}.",
    "again": "Go through the skipped ones again",
    "again_done": "The skipped cases are back.",
    "error_title": "This did not work",
    "error_back": "Back to the next case",
    "need_key": "Open the address that rakelight review printed when it started: it lets this browser in.",
    "bad_host": "This page answers only under its own address on this computer.",
    "bad_token": "This form is not of your sitting any more. Nothing was recorded. Go back, load the page again, "
    "decide again.",
    "bad_number": "A number has a letter or a figure and at most {most} characters. Nothing was recorded.",
    "bad_choice": "Choose one of the buttons, or type a number. Nothing was recorded.",
    "not_found": "There is no such page.",
    "casebook_away": "The casebook did not answer: {reason}",
    "key_enter": "Enter",
}

OUTCOMES = {
    "not-a-serial": "not a serial",
    "cannot-be-read": "cannot be read",
    "reopened": "open again",
}
"""What a decision without a number says."""

WHY = {
    "accept": "review: the reading was accepted",
    "rival": "review: another reading was chosen",
    "type": "review: typed from the picture",
    "not-a-serial": "review: looked at, not a serial",
    "cannot-be-read": "review: looked at, cannot be read",
    "undo": "review: undone by the reviewer",
    "undo-restored": "review: undone by the reviewer; the decision of {by} counts again",
}
"""The reason that is kept with a decision, before what the reviewer wrote."""


def say(key: str, **fields: object) -> str:
    """Return a text with its fields filled."""
    return TEXTS[key].format(**fields) if fields else TEXTS[key]
