"""Simulated studios for `make nothing` and `make loud`: in one nothing acts and nothing changes, in the other five things do.

Whole studios as contract tables, array by array: a table is a frame in the catalogue's columns, which a load takes as Parquet.
What is simulated follows the demo (warehouse_demo): three supports chosen by exam, by the tilt just measured and by what
nobody wrote down, captures with noise that both knees share in part, bookings, ratings. Everything is invented.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from shared.catalogue import catalogue
from shared.warehouse import write_parquet

Array = NDArray[Any]

FIRST_DAY, LAST_DAY = np.datetime64("2024-03-04"), np.datetime64("2026-08-28")
CHANGE_DAY = np.datetime64("2025-06-02")
FITTERS = ("F1", "F2", "F3", "F4", "F5", "F6")
FITTER_OFF = "F3"
STUDIOS = ("quayside", "ropewalk")
RIG_MOVED = "ropewalk"
_SHARES = (0.24, 0.20, 0.18, 0.15, 0.13, 0.10)
LEVELS = np.array(["none", "low", "medium", "high", "custom"], dtype=object)
OUTCOMES = ("tilt", "sway", "offset")
_COLUMNS = {"tilt": "knee_tilt_deg", "sway": "knee_sway_mm", "offset": "knee_offset_mm"}
_MOST_CAPTURES = 8
_ARCHES = np.array(["low", "medium", "high"], dtype=object)
_TOPICS = ("comfort", "stability", "foot_room")
_PAIN_PARTS = np.array(["knee", "foot", "lower_back", "hand"], dtype=object)
# Level, spread between riders, knees, visits, knees of one visit, noise, and the share of its variance common to both knees.
_SPREAD = {
    "tilt": (-0.3, 1.3, 1.5, 0.5, 0.2, 0.6, 0.3),
    "sway": (15.0, 2.5, 1.5, 0.8, 0.4, 1.1, 0.3),
    "offset": (2.0, 5.0, 4.0, 1.5, 0.6, 2.0, 0.2),
}
# Effects in the loud studio: insole low, medium, high, custom against none, one more shim, one mm of stance.
_EFFECTS = {
    "tilt": (0.4, 0.8, 1.1, 1.0, 0.5, -0.12),
    "sway": (-0.5, -0.9, -1.1, -1.4, -0.3, -0.05),
    "offset": (0.8, 1.5, 2.2, 2.0, 1.0, -1.6),
}


@dataclass(frozen=True)
class Truth:
    """What is true of a studio; as it stands, nothing acts, nothing changes, fitters, feet, rigs and visits are alike.

    effects: the effects of _EFFECTS, times this. low_arch: what a shim does more to the tilt of a low arch, in degrees.
    comfort: what a fit gives, in points; practice: how much more from CHANGE_DAY on, and by what share more bookings are
    attended. fitter_off: by how much less comfort FITTER_OFF gives, in points. rig_deg: by how much more the tilt of RIG_MOVED
    reads from CHANGE_DAY on.
    """

    riders: int
    effects: float = 0.0
    low_arch: float = 0.0
    comfort_points: float = 0.0
    practice_points: float = 0.0
    practice_attended: float = 0.0
    fitter_off_points: float = 0.0
    rig_deg: float = 0.0


def nothing(riders: int) -> Truth:
    """A studio in which nothing works and nothing changes."""
    return Truth(riders)


def loud(riders: int) -> Truth:
    """True effects, one change of practice, one fitter off, one foot type that differs, one rig that moves."""
    return Truth(
        riders,
        effects=1.0,
        low_arch=0.3,
        comfort_points=0.8,
        practice_points=0.8,
        practice_attended=0.22,
        fitter_off_points=0.8,
        rig_deg=1.5,
    )


def written(truth: Truth, seed: int, folder: Path) -> Path:
    """Simulates a studio and writes its tables as Parquet files, which a load takes."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, frame in simulated(truth, seed).items():
        write_parquet(frame, folder / f"{name}.parquet")
    return folder


def simulated(truth: Truth, seed: int) -> dict[str, pd.DataFrame]:
    """The contract tables of one studio; the same truth and seed give the same tables."""
    studio = _Studio(truth, np.random.default_rng([seed, truth.riders]))
    who, day = np.arange(truth.riders), studio.first_days()
    kinds = np.full(truth.riders, "first", dtype=object)
    while len(who):
        who, day, kinds = studio.visit(who, day, kinds)
    return studio.tables()


class _Studio:
    """Riders as arrays (riders,), feet and knees as arrays (riders, 2): left, right."""

    def __init__(self, truth: Truth, rng: np.random.Generator) -> None:
        self.truth, self.rng = truth, rng
        n = truth.riders
        self.found: dict[str, list[dict[str, Any]]] = {name: [] for name in catalogue()}
        self.n_sessions = 0
        self.fitter = rng.choice(len(FITTERS), n, p=np.array(_SHARES) / sum(_SHARES))
        self.bike_kind = rng.choice(["road", "gravel", "mountain", "time trial", "city"], n, p=[0.5, 0.2, 0.1, 0.1, 0.1])
        # The two feet of a rider are alike, not equal.
        self.arch = self._of_feet(rng.choice(3, (n, 3), p=[0.3, 0.45, 0.25]))
        self.collapse = self._of_feet(rng.choice(3, (n, 3), p=[0.6, 0.3, 0.1]))
        self.heel = self._of_feet(rng.choice(3, (n, 3), p=[0.15, 0.55, 0.3]))
        self.squat = self._of_feet(rng.choice(3, (n, 3), p=[0.3, 0.45, 0.25]))
        self.posture = np.clip(np.rint(rng.normal(3, 3, (n, 2))), -12, 12).astype(int)
        self.forefoot_deg = np.clip(self._of_feet(rng.normal(4, 4.5, (n, 3))), -12, 18).round(1)
        self.hip_deg = np.rint(rng.normal(108, 12, (n, 1)) + rng.normal(0, 3, (n, 2)))
        self.base = {}
        for outcome, (level, rider, knee, *_) in _SPREAD.items():
            self.base[outcome] = level + rng.normal(0, rider, (n, 1)) + rng.normal(0, knee, (n, 2))
        self.effects = {
            outcome: truth.effects * np.array(sizes) * (1 + 0.25 * rng.normal(size=(n, 2, 6)))
            for outcome, sizes in _EFFECTS.items()
        }
        self.effects["tilt"][..., 4] += truth.low_arch * (self.arch == 0)
        # What riders bring along is not the studio's doing.
        self.level = np.where(rng.random((n, 2)) < 0.15, rng.integers(1, 4, (n, 2)), 0)
        self.built_in = (rng.random((n, 2)) < 0.18).astype(int)
        self.added = np.zeros((n, 2), dtype=int)
        self.in_shoe = rng.random((n, 2)) < 0.4
        self.stance = np.zeros((n, 2))
        self.mood = rng.normal(5.5, 1.2, n)
        self.hurts = np.where(rng.random(n) < 0.6, rng.gamma(2.0, 1.4, n), 0.5)
        self.pain_part = rng.choice(_PAIN_PARTS, n)
        self.gained = np.zeros(n)
        self._people(n)

    def _of_feet(self, drawn: Array) -> Array:
        """Two feet from three draws a rider: the second foot is like the first in two of three riders."""
        alike = self.rng.random(len(drawn)) < 0.66
        return np.column_stack([drawn[:, 0], np.where(alike, drawn[:, 0], drawn[:, 1])])

    def _people(self, n: int) -> None:
        rng = self.rng
        sex = rng.choice(["female", "male"], n, p=[0.4, 0.6])
        self.rider_id = np.array([f"R{number:05d}" for number in range(n)], dtype=object)
        self.found["riders"].append(
            {
                "rider_id": self.rider_id,
                "birth_year": rng.integers(1950, 2006, n),
                "sex": sex,
                "height_cm": np.rint(rng.normal(np.where(sex == "female", 168, 179), 6)),
                "mass_kg": np.rint(rng.normal(72, 9, n)),
                "riding": rng.choice(["road", "gravel", "mountain", "triathlon", "commuting", "indoor"], n),
            }
        )
        self.found["fitters"].append(
            {
                "fitter_id": np.array(FITTERS, dtype=object),
                "fitter_name": np.array([f"Fitter {name}" for name in FITTERS], dtype=object),
                "trained_on": np.full(len(FITTERS), np.datetime64("2021-04-12")),
            }
        )

    def first_days(self) -> Array:
        """A first visit on any day alike."""
        return np.asarray(FIRST_DAY + np.sort(self.rng.integers(0, (LAST_DAY - FIRST_DAY).astype(int) + 1, self.truth.riders)))

    def visit(self, who: Array, day: Array, kinds: Array) -> tuple[Array, Array, Array]:
        """One visit of each rider in `who`; gives who comes again, when, and as what."""
        m = len(who)
        session = np.array([f"S{number:06d}" for number in range(self.n_sessions, self.n_sessions + m)], dtype=object)
        self.n_sessions += m
        self._session(who, day, kinds, session)
        self._exam(who, session)
        lasts = self._captures(who, day, session)
        self._rate(who, day, session, lasts)
        self._measure_bicycle(m, session)
        return self._desk(who, day, session)

    def _session(self, who: Array, day: Array, kinds: Array, session: Array) -> None:
        rng, m = self.rng, len(who)
        fitter = np.array(FITTERS, dtype=object)[self.fitter[who]]
        self.found["fit_sessions"].append(
            {
                "session_id": session,
                "rider_id": self.rider_id[who],
                "fitter_id": fitter,
                "studio_id": self._studio(who),
                "session_date": day,
                "visit_kind": kinds,
                "bike_kind": self.bike_kind[who],
                "sit_bone_width_mm": np.rint(rng.normal(118, 10, m)),
                "saddle_width_mm": rng.choice([138.0, 143.0, 150.0, 155.0], m),
                "saddle_condition": rng.choice(["sound", "bent", "crooked"], m, p=[0.92, 0.04, 0.04]),
            }
        )

    def _studio(self, who: Array) -> Array:
        """Every second fitter works at the second studio."""
        return np.array(STUDIOS, dtype=object)[self.fitter[who] % 2]

    def _exam(self, who: Array, session: Array) -> None:
        examined = self.rng.random(len(who)) < 0.95
        who, session = who[examined], session[examined]
        self._by_side(
            "foot_exams",
            session,
            {
                "arch_height": _ARCHES[self.arch[who]],
                "arch_collapse": np.array(["none", "some", "marked"], dtype=object)[self.collapse[who]],
                "heel_posture": np.array(["inverted", "neutral", "everted"], dtype=object)[self.heel[who]],
                "forefoot_angle_deg": self.forefoot_deg[who],
                "squat_knee_path": np.array(["inward", "straight", "outward"], dtype=object)[self.squat[who]],
                "hip_flexion_deg": self.hip_deg[who],
                "foot_posture_index": self.posture[who],
            },
        )

    def _by_side(self, table: str, session: Array, columns: Mapping[str, Array], **same: Array) -> None:
        """Rows of both sides; `columns` of shape (m, 2), `same` of shape (m,)."""
        m = len(session)
        self.found[table].append(
            {
                "session_id": np.repeat(session, 2),
                "side": np.tile(np.array(["left", "right"], dtype=object), m),
                **{name: np.repeat(column, 2) for name, column in same.items()},
                **{name: column.ravel() for name, column in columns.items()},
            }
        )

    def _captures(self, who: Array, day: Array, session: Array) -> Array:
        """Arrival, then one support after another with a capture after each; one capture in four changes nothing."""
        rng, m = self.rng, len(who)
        lasts = rng.integers(3, _MOST_CAPTURES + 1, m)
        state = {
            outcome: self.base[outcome][who] + rng.normal(0, visit, (m, 1)) + rng.normal(0, knee_visit, (m, 2))
            for outcome, (_, _, _, visit, knee_visit, *_) in _SPREAD.items()
        }
        start = day.astype("datetime64[m]") + rng.integers(9 * 60, 17 * 60, m).astype("timedelta64[m]")
        levels, shims = self._plans(who)
        for capture in range(_MOST_CAPTURES):
            here = capture < lasts
            true = {outcome: state[outcome] + self._supported(outcome, who) for outcome in OUTCOMES}
            measured = {outcome: true[outcome] + self._noise(outcome, m) for outcome in OUTCOMES}
            measured["tilt"] = measured["tilt"] + self._rig(who, day)[:, None]
            self._record(who, session, here, capture, measured, start)
            changes = (here & (rng.random(m) > 0.25) & (capture + 1 < lasts))[:, None] & (rng.random((m, 2)) < 0.85)
            draw = rng.random((m, 2))
            seen = np.where(draw < 0.5, np.nan, np.where(draw < 0.8, measured["tilt"], true["tilt"]))
            self._change(who, changes, seen, levels, shims)
        return np.asarray(lasts)

    def _rig(self, who: Array, day: Array) -> Array:
        return np.where((self._studio(who) == RIG_MOVED) & (day >= CHANGE_DAY), self.truth.rig_deg, 0.0)

    def _noise(self, outcome: str, m: int) -> Array:
        *_, noise, shared = _SPREAD[outcome]
        rng = self.rng
        return np.asarray(noise * (shared**0.5 * rng.normal(size=(m, 1)) + (1 - shared) ** 0.5 * rng.normal(size=(m, 2))))

    def _supported(self, outcome: str, who: Array) -> Array:
        effects, level = self.effects[outcome][who], self.level[who]
        insole = np.where(level > 0, np.take_along_axis(effects, np.maximum(level - 1, 0)[..., None], 2)[..., 0], 0.0)
        shims = self.added[who] + self.built_in[who]
        return np.asarray(insole + effects[..., 4] * shims + effects[..., 5] * self.stance[who])

    def _plans(self, who: Array) -> tuple[Array, Array]:
        """What the exam of each foot asks for, as it is read on this day: level of the insole, shims in all."""
        rng, m = self.rng, len(who)
        level = np.clip(self.arch[who] + 1 + rng.choice([-1, 0, 1], (m, 2), p=[0.12, 0.76, 0.12]), 0, 3)
        level = np.where(rng.random((m, 2)) < 0.12, 4, level)
        shims = np.select([self.forefoot_deg[who] <= 2, self.forefoot_deg[who] <= 8], [0, 1], 2)
        return level, np.clip(shims + rng.choice([-1, 0, 1], (m, 2), p=[0.1, 0.8, 0.1]), -1, 3)

    def _change(self, who: Array, changes: Array, seen: Array, levels: Array, shims: Array) -> None:
        """One support of each foot that is looked at; `seen` is the tilt gone by, in degrees, not a number for the exam."""
        rng, m = self.rng, len(who)
        which = np.repeat(rng.integers(0, 3, (m, 1)), 2, axis=1)
        by_exam = np.isnan(seen)
        level = self.level[who]
        stepped = np.clip(level + (seen < -0.6) + (seen < -1.4) - (seen > 1.2).astype(int), 0, 3)
        wanted = np.where(by_exam, levels, np.where(level == 4, 4, stepped))
        self.level[who] = np.where(changes & (which == 0), wanted, level)
        total = self.added[who] + self.built_in[who]
        wanted = np.where(by_exam, shims, np.clip(total + (seen < -0.5) + (seen < -2.5) - (seen > 1.5).astype(int), -1, 3))
        self.added[who] = np.where(changes & (which == 1), wanted - self.built_in[who], self.added[who])
        by_squat = np.array([-1.0, 0.0, 3.0])[self.squat[who]]
        step = np.where(by_exam, by_squat, np.where(seen > 0.8, 3.0, np.where(seen < -0.8, -1.0, 0.0)))
        step = step + rng.integers(-1, 2, (m, 2))
        self.stance[who] = np.where(changes & (which == 2), np.clip(self.stance[who] + step, -4, 14), self.stance[who])

    def _record(
        self, who: Array, session: Array, here: Array, capture: int, measured: Mapping[str, Array], start: Array
    ) -> None:
        rng = self.rng
        rows, told = who[here], session[here]
        n = len(rows)
        number = {"capture_no": np.full(n, capture + 1)}
        added, stance = self.added[rows], self.stance[rows]
        self._by_side(
            "foot_setups",
            told,
            {
                "insole_level": LEVELS[self.level[rows]],
                "shims_added": added,
                "shims_built_in": self.built_in[rows],
                "shim_place": np.where(added == 0, None, np.where(self.in_shoe[rows], "in_shoe", "at_cleat")),
                "stance_mm": stance,
                "stance_by": np.where(stance == 0, None, np.where(np.abs(stance) <= 4, "cleat", "spacer")),
                "foot_room_ok": rng.random((n, 2)) < 0.93,
            },
            **number,
        )
        values = {_COLUMNS[name]: value[here].round(2 if name == "tilt" else 1) for name, value in measured.items()}
        values["knee_sway_mm"] = np.maximum(values["knee_sway_mm"], 0.0)
        for value in values.values():
            value[rng.random(value.shape) < 0.004] = np.nan
        self._by_side(
            "knee_captures",
            told,
            values,
            **number,
            crank_cycles=rng.integers(24, 41, n),
            cadence_rpm=np.rint(rng.normal(86, 5, n)),
            power_w=np.rint(rng.normal(155, 25, n)),
            captured_at=start[here] + np.timedelta64(11 * capture, "m"),
        )

    def _rate(self, who: Array, day: Array, session: Array, lasts: Array) -> None:
        """Ratings at arrival and departure: a rider's own mood and pain, with some scatter, and what fits gave."""
        rng, m, truth = self.rng, len(who), self.truth
        mood = self.mood[who] + rng.normal(0, 0.7, m)
        gain = truth.comfort_points + truth.practice_points * (day >= CHANGE_DAY)
        gain = gain - truth.fitter_off_points * (self.fitter[who] == FITTERS.index(FITTER_OFF))
        held = self.gained[who]
        self.gained[who] = 0.8 * (held + gain)
        for capture_no, risen in ((np.ones(m, dtype=int), held), (lasts, held + gain)):
            for topic in _TOPICS:
                level = 6.5 + 0.2 * risen if topic == "foot_room" else mood + risen
                self._rated(session, capture_no, topic, np.full(m, "whole", dtype=object), level)
            self._rated(session, capture_no, "pain", self.pain_part[who], self.hurts[who] - 0.5 * risen)

    def _rated(self, session: Array, capture_no: Array, topic: str, part: Array, level: Array) -> None:
        m = len(session)
        score = np.clip(np.rint(level + self.rng.normal(0, 0.8, m)), 0, 10)
        self.found["rider_ratings"].append(
            {
                "session_id": session,
                "capture_no": capture_no,
                "topic": np.full(m, topic, dtype=object),
                "body_part": part,
                "score": score,
            }
        )

    def _measure_bicycle(self, m: int, session: Array) -> None:
        taken = self.rng.random(m) < 0.85
        found = np.rint(self.rng.normal(735, 30, m))
        for moment, chosen in (("arrival", np.ones(m, dtype=bool)), ("departure", taken)):
            n = int(chosen.sum())
            self.found["bike_measures"].append(
                {
                    "session_id": session[chosen],
                    "moment": np.full(n, moment, dtype=object),
                    "measure": np.full(n, "saddle_height", dtype=object),
                    "value_mm": found[chosen],
                }
            )

    def _desk(self, who: Array, day: Array, session: Array) -> tuple[Array, Array, Array]:
        """Bookings, whatever came before: who is booked, who comes, who is recorded again, and who returns for a refit."""
        rng, m = self.rng, len(who)
        booked = rng.random(m) < 0.72
        delay = np.where(rng.random(m) < 0.6, 0, rng.integers(1, 16, m))
        booked_on, due_on = day + delay, day + 14
        booked &= booked_on <= LAST_DAY
        came = day + np.maximum(delay + 1, np.rint(rng.gamma(9.0, 1.9, m)).astype(int))
        attended = 0.7 + self.truth.practice_attended * (day >= CHANGE_DAY)
        draw = rng.random(m)
        state = np.where(draw < attended, "attended", np.where(draw < attended + 0.6 * (1 - attended), "missed", "cancelled"))
        is_open = (due_on > LAST_DAY) | ((state == "attended") & (came > LAST_DAY))
        is_open |= (state == "missed") & (due_on > LAST_DAY - 60)
        state = np.where(is_open, "open", state).astype(object)
        here = booked & (state == "attended")
        recorded = here & (rng.random(m) < 0.86)
        kept = rng.choice(np.array(["all", "some", "none"], dtype=object), m, p=[0.7, 0.2, 0.1])
        self._keep(who[here], kept[here])
        refits = ~recorded & (rng.random(m) < 0.12)
        later = day + rng.integers(120, 420, m)
        refits &= later <= LAST_DAY
        again = recorded | refits
        next_session = np.full(m, None, dtype=object)
        next_session[again] = [f"S{number:06d}" for number in range(self.n_sessions, self.n_sessions + int(again.sum()))]
        answers = {"setup_kept": kept, "satisfaction": np.clip(np.rint(rng.normal(7.5, 1.4, m)), 0, 10)}
        answers["pain"] = np.clip(np.rint(rng.gamma(1.4, 1.2, m)), 0, 10)
        self.found["follow_ups"].append(
            {
                "follow_up_id": np.array([f"B{name[1:]}" for name in session[booked]], dtype=object),
                "session_id": session[booked],
                "booked_on": booked_on[booked],
                "due_on": due_on[booked],
                "state": state[booked],
                "attended_on": np.where(here, came, np.datetime64("NaT"))[booked],
                "returned_session_id": np.where(recorded, next_session, None)[booked],
                **{name: np.where(here, column, None)[booked] for name, column in answers.items()},
            }
        )
        kinds = np.where(recorded, "follow_up", "refit").astype(object)
        return who[again], np.where(recorded, came, later)[again], kinds[again]

    def _keep(self, who: Array, kept: Array) -> None:
        """What stands in the shoes afterwards: all of the setup, the shims without the insoles, or nothing of it."""
        self.level[who] = np.where((kept == "all")[:, None], self.level[who], 0)
        self.added[who] = np.where((kept == "none")[:, None], 0, self.added[who])
        self.stance[who] = np.where((kept == "none")[:, None], 0.0, self.stance[who])

    def tables(self) -> dict[str, pd.DataFrame]:
        frames = {name: pd.DataFrame(dict(self._columns(name))) for name in catalogue()}
        return {name: frame for name, frame in frames.items() if not frame.columns.empty}

    def _columns(self, table: str) -> Iterator[tuple[str, Any]]:
        """The catalogue's columns that are simulated, in its order and in its types."""
        parts = self.found[table]
        for column in catalogue()[table].columns:
            if parts and column.name in parts[0]:
                joined = pd.Series(np.concatenate([part[column.name] for part in parts]))
                if column.type == "date":
                    yield column.name, joined.dt.strftime("%Y-%m-%d")
                elif column.type == "datetime":
                    yield column.name, joined.dt.strftime("%Y-%m-%dT%H:%M:%S")
                else:
                    yield column.name, pd.to_numeric(joined) if column.type in ("number", "integer") else joined
