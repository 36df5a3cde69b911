"""What the log tells of a load: that it began, waits, ended or failed, in counts alone; no name of a file, no row."""

import logging
import time
from collections.abc import Callable
from functools import wraps
from typing import Any, Final, ParamSpec

from etl.report import OUTCOMES, LoadReport
from shared.errors import FitledgerError
from shared.log_lines import lines_of_a_load, share, shared_field

_Given = ParamSpec("_Given")
log: Final = logging.getLogger("fitledger.loads")


def logged(load: Callable[_Given, LoadReport]) -> Callable[_Given, LoadReport]:
    """Tells the log how a load went, every line under one id."""

    @wraps(load)
    def run(*given: _Given.args, **named: _Given.kwargs) -> LoadReport:
        with lines_of_a_load():
            began = time.monotonic()
            log.info("load begins")
            try:
                report = load(*given, **named)
            except Exception as fault:
                is_refusal = isinstance(fault, FitledgerError)
                _tell("load refused" if is_refusal else "load failed", logging.WARNING, began, fault=type(fault).__name__)
                raise
            counts = {name: sum(getattr(file, name) for file in report.files) for name in ("read", *OUTCOMES)}
            words = "load ended" if report.load_id else "nothing new"
            _tell(words, logging.INFO, began, load_id=report.load_id, files=len(report.files), **counts)
            return report

    return run


def number_lines(load_id: int) -> None:
    """From now on the lines of the load hold its number in the ledger too; a check has none."""
    if shared_field("load"):
        share(load_id=load_id)


def _tell(words: str, level: int, began: float, **fields: Any) -> None:
    log.log(level, words, extra={"fields": {"ms": round(1000 * (time.monotonic() - began)), **fields}})
