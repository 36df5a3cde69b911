"""Signing in and out: kept cookies, other browsers, guesses at one moment, and locking somebody else out."""

from concurrent.futures import ThreadPoolExecutor
from threading import Barrier

from tests.attack.house import ASIDE, PASSWORD, ROLES, Browser, House, demo_house, sign_in
from tests.attack.rows import Row, row

PARALLEL = 40
# So many guesses of a name are free; more must wait.
FREE = 5
ANSWER = "/download/studio.csv"


def rows() -> list[Row]:
    with demo_house() as house:
        return rows_of(house)


def rows_of(house: House) -> list[Row]:
    return [_signed_out(house), _prolonged(house), _elsewhere(house), _at_once(house), _locked_out(house), _guessing_on(house)]


def _enter(house: House, name: str, **given: str) -> Browser:
    browser = house.browser(**given)
    assert sign_in(browser, name, PASSWORD).status_code == 302
    return browser


def _status(browser: Browser) -> int:
    return browser.get(ANSWER, headers=ASIDE).status_code


def _signed_out(house: House) -> Row:
    failures = []
    for name in ROLES:
        browser = _enter(house, name)
        thief = browser.thief()
        assert _status(thief.thief()) == 200
        browser.post("/logout")
        if (status := _status(thief)) != 401:
            failures.append(f"{name}'s kept cookie answered {status}")
    return row("a cookie kept before sign-out", f"{len(ROLES)} roles", failures, "401 after sign-out")


def _prolonged(house: House) -> Row:
    """What the page of signing in gives to one who is signed in lets nobody in by itself."""
    failures = []
    for name in ROLES:
        browser = _enter(house, name)
        before = dict(browser.jar)
        browser.get("/login")
        anew = {cookie: value for cookie, value in browser.jar.items() if before.get(cookie) != value}
        if anew and _status(house.browser(jar=anew)) == 200:
            failures.append(f"{name} got another cookie that lets in")
    return row("GET /login with a session", f"{len(ROLES)} roles", failures, "no session is made anew")


def _elsewhere(house: House) -> Row:
    failures = []
    for name in ROLES:
        thief = _enter(house, name).thief(agent="curl/8.5", address="198.51.100.9")
        if (status := _status(thief)) != 401:
            failures.append(f"{name}'s cookie from another browser answered {status}")
    return row("a cookie in another browser", f"{len(ROLES)} roles", failures, "401")


def _guess(house: House, name: str, password: str, **given: str) -> int:
    return sign_in(house.browser(**given), name, password).status_code


def _at_once(house: House) -> Row:
    """Guesses at one moment from one address: how many were checked."""
    house.accounts.add("target", "owner", PASSWORD)
    start = Barrier(PARALLEL)

    def guess(n: int) -> int:
        browser = house.browser(address="203.0.113.5")
        browser.get("/login")
        start.wait(60)
        return sign_in(browser, "target", f"a wrong password {n}").status_code

    with ThreadPoolExecutor(PARALLEL) as pool:
        found = list(pool.map(guess, range(PARALLEL)))
    house.accounts.remove("target")
    checked = sum(status == 401 for status in found)
    failures = [f"{checked} of {PARALLEL} guesses were checked, {FREE} are free"] if checked > FREE else []
    return row("guesses at one moment", f"{PARALLEL} in parallel", failures, f"{checked} checked, the others told to wait")


def _locked_out(house: House) -> Row:
    """Wrong tries from elsewhere keep nobody out who has the right password in a browser that was let in before."""
    house.accounts.add("ada", "owner", PASSWORD)
    known = _enter(house, "ada", address="192.0.2.20")
    known.post("/logout")
    tries = 2 * FREE
    for n in range(tries):
        _guess(house, "ada", f"a wrong password {n}", address="203.0.113.77", agent="python")
    status = sign_in(known, "ada", PASSWORD).status_code
    house.accounts.remove("ada")
    failures = [] if status == 302 else [f"the right password from the known browser answered {status}"]
    return row("locking a name for its owner", f"{tries} wrong tries from elsewhere", failures, "the known browser gets in")


def _guessing_on(house: House) -> Row:
    """Whoever guesses from one address is slowed down, and a right guess while waiting lets nobody in."""
    house.accounts.add("eve", "owner", PASSWORD)
    found = [_guess(house, "eve", f"a wrong password {n}", address="203.0.113.99") for n in range(2 * FREE)]
    right = _guess(house, "eve", PASSWORD, address="203.0.113.99")
    house.accounts.remove("eve")
    failures = [f"{sum(status == 401 for status in found)} guesses were checked"] if found.count(401) > FREE else []
    if right == 302:
        failures.append("the right guess after them was let in")
    return row("guessing one after the other", f"{2 * FREE + 1} tries", failures, f"{found.count(401)} checked, then 429")
