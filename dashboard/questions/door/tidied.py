"""An answer less its hidden rows, and less all that could only be told with them."""

from dataclasses import replace
from typing import Any

from dashboard.questions.door.following import NO_HEADLINE, Fields, Hidden, Shown
from dashboard.questions.door.question import Sight
from dashboard.questions.selection.answers import Answer


def tidied(sight: Sight, answer: Answer, shown: Shown, hidden: Hidden, least: int) -> Answer:
    """The answer with the rows that are shown, and all that follows from the hidden ones left out."""
    follows = sight.follow(answer, shown, hidden, least) if sight.follow else {}
    fields: Fields = {**dict.fromkeys(type(answer).lists(), ()), **shown, **follows}
    if hasattr(answer, "headline"):
        fields["headline"] = _headline(sight, answer, fields, hidden)
    changed = {name: value for name, value in fields.items() if value != getattr(answer, name)}
    return replace(answer, **changed) if changed else answer


def _headline(sight: Sight, answer: Any, fields: Fields, hidden: Hidden) -> str:
    if sight.own_words:
        return sight.own_words
    if any(is_quoted(getattr(answer, name)[at]) for name, is_quoted in sight.quoted.items() for at in hidden[name]):
        return NO_HEADLINE
    return str(fields.get("headline", answer.headline))
