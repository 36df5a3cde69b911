"""Everything that the dashboard answers, asked as every role, as nobody, and with cookies that were forged or are old."""

import base64
import random
import re
from collections.abc import Iterator

from itsdangerous import URLSafeTimedSerializer

from dashboard.pages import PAGES
from shared.warehouse import open_reading
from tests.attack.house import (
    ASIDE,
    PASSWORD,
    ROLES,
    Browser,
    Client,
    House,
    demo_house,
    downloads,
    routes,
    sign_in,
    walk,
    words_of,
)
from tests.attack.rows import Row, row

SELECTIONS = ("", "?visit_kind=first", "?split=riding", "?studio=quayside&bike_kind=gravel", "?from=2026-06-01")
# More that are asked of the downloads alone, which are quick.
NARROW = (
    *(f"?from=2026-0{month}-01&to=2026-0{month}-07" for month in range(1, 9)),
    *(f"?arch_height={height}&side={side}" for height in ("low", "high") for side in ("left", "right")),
    "?forefoot=marked_varus&riding=road",
    "?studio=ropewalk&visit_kind=refit",
    "?rider=R0001",
    "?rider=R0012,R0487",
)
# What everyone may see before signing in; the steps of signing in and the way out among them.
_OPEN = ("/health", "/login", "/logout", "/assets/")
_OPEN_TO_A_FITTER_IF_ASKED = ("/upload", "/mend")
FORGED = 350
# The example in a page's own words.
EXAMPLE = {"R0012"}
Walked = tuple[str, int, set[str], str]


def rows() -> list[Row]:
    with demo_house() as house:
        return [
            _nobody(house),
            *(_fitter(house, what) for what in ("callbacks", "downloads")),
            _rejected_values(house),
            _routes_of_a_fitter(house),
            _owner(house),
            _answered(house),
            of_itself(house),
            _forged(house),
            _old(house),
        ]


def _everything(house: House, client: Client, what: str) -> Iterator[Walked]:
    """Each answer as (what was asked, status, its words, its text)."""
    if what == "callbacks":
        for page in PAGES:
            for search in SELECTIONS:
                for output, answer in walk(house, client, search, f"/{page.path}"):
                    yield (
                        f"{output} of /{page.path}{search}",
                        answer.status_code,
                        words_of(answer),
                        answer.get_data(as_text=True),
                    )
        return
    for address in downloads(house):
        for search in (*SELECTIONS, *NARROW):
            whole = f"{address}&{search[1:]}" if search else address
            answer = client.get(whole, headers=ASIDE)
            yield whole, answer.status_code, words_of(answer), answer.get_data(as_text=True)


def _nobody(house: House) -> Row:
    client, failures, n = house.browser(), [], 0
    for what in ("callbacks", "downloads"):
        for asked, status, words, _ in _everything(house, client, what):
            n += 1
            if status != 401 or words & house.foreign:
                failures.append(f"{asked} answered {status}")
    for method, address in routes(house):
        if not address.startswith(_OPEN):
            n += 1
            answer = house.browser().get(address, headers=ASIDE) if method == "GET" else house.browser().post(address, json={})
            # What is no question at all is refused before anybody is asked who they are.
            if answer.status_code not in (400, 401, 405):
                failures.append(f"{method} {address} answered {answer.status_code}")
    return row("walk as nobody", f"{n} callbacks, downloads and routes", failures, "401, and no case")


def _fitter(house: House, what: str) -> Row:
    client = _signed_in(house, "finn")
    failures, n = [], 0
    for asked, status, words, _ in _everything(house, client, what):
        n += 1
        # What was asked for by its id is named in the refusal.
        met = words & (house.foreign | house.colleagues) - EXAMPLE - set(re.findall(r"R\d+", asked))
        if met:
            failures.append(f"{asked} names {len(met)} cases or colleagues")
        if status >= 500:
            failures.append(f"{asked} failed")
    return row(f"walk as a fitter: {what}", f"{n} {what}", failures, "no case of others, no colleague")


def _rejected_values(house: House) -> Row:
    """What stood in rejected rows is for those who may load."""
    warehouse = open_reading(house.asker.path)
    found = {str(one["value"]) for one in warehouse.rows("SELECT DISTINCT value FROM raw.rejects WHERE length(value) > 2")}
    warehouse.close()
    client, failures, lists = (
        _signed_in(house, "finn"),
        [],
        [one for one in downloads(house) if one.startswith("/download/data")],
    )
    for address in lists:
        text = client.get(address).get_data(as_text=True)
        met = sorted(value for value in found if f"ound {value}" in text or f"'{value}'" in text or f"{value}," in text)
        if met:
            failures.append(f"{address} tells {len(met)} values")
    return row("values of rejected rows, as a fitter", f"{len(lists)} lists, {len(found)} values", failures, "none is told")


def _routes_of_a_fitter(house: House) -> Row:
    client, failures, tried = _signed_in(house, "finn"), [], 0
    for method, address in routes(house):
        if address.startswith(_OPEN_TO_A_FITTER_IF_ASKED):
            tried += 1
            given = {"data": {}, "headers": {"X-Fitledger": "upload"}}
            answer = client.get(address) if method == "GET" else client.post(address, **given)
            if answer.status_code != 403:
                failures.append(f"{method} {address} answered {answer.status_code}")
    return row("loading and mending, as a fitter", f"{tried} routes", failures, "403 with whom to ask")


def _owner(house: House) -> Row:
    client, failures, n = _signed_in(house, "olga"), [], 0
    for what in ("callbacks", "downloads"):
        for asked, status, _, text in _everything(house, client, what):
            n += 1
            if any(note in text for note in house.notes):
                failures.append(f"{asked} tells what was noted")
            if status >= 500:
                failures.append(f"{asked} failed")
    return row("walk as the owner", f"{n} callbacks and downloads", failures, "no note of a rider")


def _answered(house: House) -> Row:
    failures, n = [], 0
    for name in ("olga", "hanna"):
        client = _signed_in(house, name)
        for output, answer in walk(house, client, "", "/"):
            n += 1
            if answer.status_code not in (200, 204):
                failures.append(f"{output} answered {name} {answer.status_code}")
    return row("owner and head fitter are answered", f"{n} callbacks", failures, "every one")


def of_itself(house: House) -> Row:
    """What the server tells of itself is for this machine, not for whoever is signed in; and it names nobody."""
    failures, tried = [], 0
    for name in (None, *ROLES):
        client = _signed_in(house, name) if name else house.browser()
        for headers in ({}, {"X-Forwarded-For": "127.0.0.1"}, {"Authorization": "Bearer "}, {"Authorization": "Bearer x"}):
            tried += 1
            if (status := client.get("/metrics", headers={**ASIDE, **headers}).status_code) != 401:
                failures.append(f"/metrics answered {name or 'nobody'} {status}")
    at_home = house.browser(address="127.0.0.1").get("/metrics")
    if at_home.status_code != 200 or words_of(at_home) & (house.foreign | house.colleagues):
        failures.append(f"on the machine itself {at_home.status_code}, or cases")
    return row("what the server tells of itself", f"{tried + 1} requests", failures, "401 from elsewhere, and no case")


def _forged(house: House) -> Row:
    """Cookies signed with guessed secrets, torn, altered and drawn at random, under the names that a real one has."""
    genuine, draw = _signed_in(house, "olga").jar, random.Random(14)
    failures = []
    for n in range(FORGED):
        name, value = draw.choice(sorted(genuine.items()))
        made = (
            URLSafeTimedSerializer(f"secret{n}", salt="cookie-session").dumps({"_user_id": f"olga {n:032x}", "_fresh": True}),
            value[: draw.randrange(len(value))],
            _altered(value, draw),
            base64.urlsafe_b64encode(draw.randbytes(32)).decode(),
        )[n % 4]
        answer = house.browser(jar={name: made}).get("/download/studio.csv", headers=ASIDE)
        if made != value and answer.status_code != 401:
            failures.append(f"a forged {name} answered {answer.status_code}")
    return row("forged cookies", f"{FORGED} cookies", failures, "401")


def _altered(value: str, draw: random.Random) -> str:
    # The last sign of such a text may hold bits that mean nothing.
    place = draw.randrange(len(value) - 1)
    return value[:place] + draw.choice([sign for sign in "abcXYZ019" if sign != value[place]]) + value[place + 1 :]


def _old(house: House) -> Row:
    """Cookies from before another password, another role, and the end of the account."""
    failures = []
    for change in ("reset", "remove"):
        house.accounts.add("gone", "owner", PASSWORD)
        kept = _signed_in(house, "gone").thief()
        if kept.get("/download/studio.csv", headers=ASIDE).status_code != 200:
            failures.append("a fresh session was not answered")
        if change == "reset":
            house.accounts.reset("gone", PASSWORD + " anew")
        house.accounts.remove("gone")
        if change == "remove":
            house.accounts.add("gone", "owner", PASSWORD)
        if (status := kept.get("/download/studio.csv", headers=ASIDE).status_code) != 401:
            failures.append(f"after {change}: {status}")
        if change == "remove":
            house.accounts.remove("gone")
    return row("cookies of before", "2: another password; another account of the same name", failures, "401")


def _signed_in(house: House, name: str) -> Browser:
    browser = house.browser()
    assert name in ROLES or name == "gone"
    assert sign_in(browser, name, PASSWORD).status_code == 302
    return browser
