"""What the server tells of itself at /metrics, as OpenMetrics text: names of questions, tables and studios, and counts; nothing
of a rider and no name of a fitter.

Counts of this process (requests, answers, faults) grow as they happen; what the warehouse tells is read once a state of its
file.
"""

import hmac
import logging
import os
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any, Final

from flask import Flask, Request, Response
from prometheus_client import CollectorRegistry, Counter, Histogram, ProcessCollector
from prometheus_client.core import GaugeMetricFamily, Metric
from prometheus_client.openmetrics.exposition import CONTENT_TYPE_LATEST, generate_latest
from prometheus_client.registry import Collector

from dashboard.questions.data.data import whole_warehouse
from dashboard.questions.door.asking import Asker
from dashboard.questions.memory.remembering import Remember
from dashboard.web.logs import note_question
from dashboard.web.warming import STATE as WARMTH
from etl.keeping.watch import tried_files
from shared.errors import (
    FitledgerError,
    LogbookError,
    NoMemoryError,
    NotPermittedError,
    StatisticsError,
    SupersededError,
    UsageError,
)
from shared.files import writers_of
from shared.freshness import NEWEST_BY_STUDIO
from shared.logbook.letters import Letters
from shared.logbook.store import Logbook
from shared.settings import settings_file
from shared.settings_running import Metrics as MetricsSettings
from shared.warehouse import Warehouse

METRICS: Final = "metrics"
STATE: Final = "FITLEDGER_METRICS"
TOKEN_VARIABLE: Final = "FITLEDGER_METRICS_TOKEN"
_SECONDS: Final = (0.01, 0.05, 0.1, 0.25, 0.5, 1, 2.5, 5, 10, 30, 60, 120, 300)
# What a question answers with a sentence because of the data, the reader or the address, and nobody has to mend.
_REFUSALS: Final = (StatisticsError, NotPermittedError, SupersededError, UsageError)
_REFUSED: Final = "Ask for this from the machine itself, or with the token of the settings ([metrics] token_file).\n"
log = logging.getLogger("fitledger.dashboard")


class Watched:
    """Counts what one served dashboard does."""

    def __init__(self, asker: Asker) -> None:
        self._settings = asker.settings
        self.registry = CollectorRegistry()
        ProcessCollector(registry=self.registry)
        self._requests = Counter("fitledger_requests", "Requests answered.", ["status"], registry=self.registry)
        # From nothing on, so that the first is seen to be one more.
        self._requests.labels("500")
        self._answers = Histogram(
            "fitledger_answer_seconds",
            "How long a question took, remembered answers among them.",
            ["question"],
            buckets=_SECONDS,
            registry=self.registry,
        )
        self._faults = Counter(
            "fitledger_faults", "Questions that could not be answered.", ["question", "kind"], registry=self.registry
        )
        self._asker = asker
        asker.watch = self.watch

    @contextmanager
    def watch(self, question: str) -> Iterator[None]:
        """Counts one question; where there was no memory for it, the traceback goes to the log, and the reader is told."""
        note_question(question)
        began = time.perf_counter()
        try:
            yield
        except _REFUSALS:
            raise
        except Exception as fault:
            self._faults.labels(question, type(fault).__name__).inc()
            # Told again without another try, it has no cause.
            if isinstance(fault, NoMemoryError) and fault.__cause__:
                log.error("Fault in %s: no memory", question, exc_info=fault)
            raise
        finally:
            self._answers.labels(question).observe(time.perf_counter() - began)

    def add_to(self, server: Flask) -> None:
        """Counts every request of a server, and lets its guard answer /metrics."""
        server.config[STATE] = self
        # What is made ready is told to the server once it is served.
        self.registry.register(_State(self._asker, lambda: dict(server.config.get(WARMTH, dict)())))

        @server.after_request
        def count(response: Response) -> Response:
            self._requests.labels(str(response.status_code)).inc()
            return response

    def answer_to(self, asked: Request) -> Response:
        """All of it, as OpenMetrics text, for programs on this machine itself (not through a proxy) and who shows the token."""
        if not self._may_read(asked):
            return Response(_REFUSED, 401, {"WWW-Authenticate": "Bearer"}, mimetype="text/plain")
        return Response(generate_latest(self.registry), content_type=CONTENT_TYPE_LATEST)  # type: ignore[no-untyped-call]

    def _may_read(self, asked: Request) -> bool:
        token = token_of(self._settings.metrics)
        kind, _, shown = asked.headers.get("Authorization", "").partition(" ")
        if token and kind.lower() == "bearer" and hmac.compare_digest(shown.strip().encode(), token.encode()):
            return True
        return not self._settings.serving.behind_proxy and asked.remote_addr in ("127.0.0.1", "::1")


class _State(Collector):
    """How the warehouse and the store of answers stand, found as they are asked for."""

    def __init__(self, asker: Asker, warmth: Callable[[], dict[str, Any]]) -> None:
        self._asker = asker
        self._warmth = warmth

    def collect(self) -> Iterator[Metric]:
        yield from self._warmed()
        yield from self._remembered()
        yield from self._line()
        try:
            found = self._asker.once(("metrics",), _found)
        except (FitledgerError, MemoryError):
            found = None
        yield _gauge("warehouse_readable", "Whether the warehouse can be read.", float(found is not None))
        if found:
            yield from self._warehouse(*found)
        yield from self._letters()

    def _warmed(self) -> Iterator[Metric]:
        state = self._warmth()
        yield _gauge("ready", "Whether all first answers are made.", float(state.get("ready", True)))
        yield _gauge("answers_made", "First answers made since the last load.", state.get("made", 0))
        yield _gauge("answers_to_make", "First answers that are made after a load.", state.get("of", 0))
        failing = ((name,) for name in sorted(set(state.get("failed", ()))))
        yield _family("question_failing", "1 for each question that could not be answered since the last load.", ("question",),
                      dict.fromkeys(failing, 1.0))  # fmt: skip

    def _remembered(self) -> Iterator[Metric]:
        answers, foundations = self._asker.held_bytes()
        held = {("answers",): float(answers), ("foundations",): float(foundations)}
        yield _family("remembered_bytes", "Memory of remembered answers, and of what they are made of.", ("part",), held)
        most = self._asker.settings.serving.remembered_mb * 1_000_000
        yield _gauge("remembered_limit_bytes", "How much may be remembered.", most)

    def _line(self) -> Iterator[Metric]:
        came = writers_of(self._asker.path)
        yield _gauge("loads_in_line", "Programs that write the warehouse or wait to.", len(came))
        waited = max(0.0, time.time() - came[0]) if came else 0.0
        yield _gauge("first_in_line_seconds", "How long the first of them has stood in line.", waited)
        noted = [note["outcome"] for note in tried_files(self._asker.path).values()]
        tried = {(outcome,): float(noted.count(outcome)) for outcome in ("loaded", "refused")}
        yield _family("watched_files", "Files that the watch has tried, by what came of them.", ("outcome",), tried)

    def _warehouse(self, whole: dict[str, tuple[Any, ...]], studios: list[dict[str, Any]]) -> Iterator[Metric]:
        loads = {
            (outcome,): float(sum((row.undone_at is not None) is is_undone for row in whole["loads"]))
            for outcome, is_undone in (("standing", False), ("taken_back", True))
        }
        yield _family("loads", "Loads in the ledger.", ("outcome",), loads)
        rows = {
            (row.table, outcome): float(getattr(row, outcome))
            for row in whole["tables"]
            for outcome in ("stored", "waiting", "rejected", "cells")
        }
        yield _family("rows", "Rows by table: stored, waiting, rejected; and cells left out.", ("table", "outcome"), rows)
        today = self._asker.today()
        ages = {(row["studio_id"],): float((today - row["newest_row"]).days) for row in studios if row["studio_id"]}
        yield _family("newest_row_age_days", "Days since the newest fit of a studio.", ("studio",), ages)
        yield _gauge(
            "stale_after_days", "From how many days on a row is called old.", self._asker.settings.data.stale_after_days
        )

    def _letters(self) -> Iterator[Metric]:
        unsent = 0
        if Logbook(self._asker.path).file.exists():
            with suppress(LogbookError):
                unsent = len(Letters(self._asker.path).unsent())
        yield _gauge("letters_unsent", "Letters that did not go, or may not have.", unsent)


def _found(warehouse: Warehouse, remember: Remember) -> tuple[dict[str, tuple[Any, ...]], list[dict[str, Any]]]:
    return whole_warehouse(warehouse, remember), warehouse.rows(NEWEST_BY_STUDIO)


def _gauge(name: str, words: str, value: float) -> Metric:
    return GaugeMetricFamily(f"fitledger_{name}", words, value=value)


def _family(name: str, words: str, labels: tuple[str, ...], values: Mapping[Any, float]) -> Metric:
    family = GaugeMetricFamily(f"fitledger_{name}", words, labels=labels)
    for label, value in values.items():
        family.add_metric(label, value)
    return family


def token_of(settings: MetricsSettings) -> str:
    """The token in force; empty where there is none, or its file cannot be read."""
    if named := os.environ.get(TOKEN_VARIABLE, ""):
        return named.strip()
    if not settings.token_file:
        return ""
    try:
        lines = (settings_file().parent / Path(settings.token_file).expanduser()).read_text(encoding="utf-8").splitlines()
    except (OSError, UnicodeDecodeError):
        return ""
    return lines[0].strip() if lines else ""
