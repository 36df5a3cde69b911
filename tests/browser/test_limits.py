"""Length is a cost: every view is held to its limits at 1280 x 720, and an answer stands whole on the first screen."""

import pytest

from tests.browser.conftest import Served, Watched
from tests.browser.limits import ANSWER, VIEW, Length, addresses, counted, most
from tests.every_view import Shown

pytestmark = pytest.mark.browser


@pytest.mark.parametrize(("shown", "path"), list(addresses()), ids=lambda part: part if isinstance(part, str) else "")
def test_a_view_is_no_longer_than_it_may_be(served: Served, watched: Watched, shown: Shown, path: str) -> None:
    page = watched.open(f"{served.address}{path}")
    length = counted(page)
    assert length.words > 20, "nothing is shown"
    assert length.beyond(most(shown)) == []


def test_what_is_longer_is_named() -> None:
    longer = Length(answer_px=721, height_px=100, words=201, numbers=60, stops=45)
    assert longer.beyond(ANSWER) == ["answer_px: 721, at most 720", "words: 201, at most 200"]
    assert longer.beyond(VIEW) == []
