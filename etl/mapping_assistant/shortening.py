"""What a mapping need not say: what holds for the whole of it is said once, and known words not at all."""

import re
from dataclasses import dataclass, field
from typing import Any, Final

from etl.known_words import meant_by
from etl.mapping_assistant.asking import SIDES, Asked
from etl.mapping_assistant.plan import Proposal

_FORMS: Final = ("date_form", "date_forms")
_POINT: Final = re.compile(r"\d\.\d")


@dataclass(frozen=True)
class CommonForm:
    """What all files of a mapping share, as its `form` says it, and why."""

    said: dict[str, Any] = field(default_factory=dict)
    reason: str = ""


def common_form(asked: Asked) -> CommonForm:
    """Decimal commas, where several columns have them and no column has a point; dates, where all have one form."""
    decimals, dates, has_points = [], [], False
    for plan in asked.plans:
        for proposal in plan.columns.values():
            if proposal.candidate is None:
                continue
            spec, cells = asked.spec(plan, proposal), proposal.candidate.sources[0].filled
            if proposal.column.type in {"number", "integer"}:
                decimals += [cells[0]] if "decimal" in spec else []
                has_points |= "decimal" not in spec and any(_POINT.search(cell) for cell in cells)
            dates += [forms] if (forms := _forms(spec.get("date", spec))) else []
    said: dict[str, Any] = {"decimal": ","} if len(decimals) > 1 and not has_points else {}
    reasons = [f"numbers such as {decimals[0]}"] if said else []
    forms = list(dict.fromkeys(form for several in dates for form in several))
    # Days in one order, with and without a time.
    if len(dates) > 1 and len({re.split("[ T]", form)[0] for form in forms}) == 1:
        forms.sort(key=len)
        said |= {"date_form": forms[0]} if len(forms) == 1 else {"date_forms": forms}
        reasons.append("days stand in one order")
    return CommonForm(said, "; ".join(reasons))


def _forms(spec: dict[str, Any]) -> list[str]:
    return [spec["date_form"]] if "date_form" in spec else list(spec.get("date_forms", ()))


def shortened(spec: dict[str, Any], proposal: Proposal | None, form: CommonForm) -> dict[str, Any]:
    """What is to be said of a column, or of a time of a log, beside the common form and the known words."""
    spec = {key: shortened(value, None, form) if key in ("rider", "date") else value for key, value in spec.items()}
    short = {key: value for key, value in spec.items() if form.said.get(key) != value}
    if set(_forms(spec)) <= set(_forms(form.said)):
        short = {key: value for key, value in short.items() if key not in _FORMS}
    if proposal and (codes := spec.get("codes")):
        own = {cell: code for cell, code in codes.items() if meant_by(proposal.column.name, cell) != str(code)}
        short = {**short, "codes": own} if own else {key: value for key, value in short.items() if key != "codes"}
    return short


def sided(specs: dict[str, dict[str, Any]]) -> dict[str, Any]:
    """What is said of a column whose left and right stand side by side: what both share once, the rest by side."""
    left, right = (specs[side] for side in SIDES)
    codes = [one.get("codes", {}) for one in (left, right)]
    if all(codes[1].get(cell, code) == code for cell, code in codes[0].items()) and any(codes):
        both = {**codes[0], **codes[1]}
        left, right = ({**one, "codes": both} for one in (left, right))
    if left == right:
        return left
    common = {key: value for key, value in left.items() if right.get(key) == value and key != "from"}
    own = [{key: value for key, value in one.items() if key not in common} for one in (left, right)]
    told = [one["from"] if set(one) == {"from"} and isinstance(one["from"], str) else one for one in own]
    return {**dict(zip(SIDES, told, strict=True)), **common}
