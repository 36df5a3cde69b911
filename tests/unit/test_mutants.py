"""The tool that changes the code on purpose: what it changes, that all is put back, and how it finds a function's code."""

import ast

from tests.mutants.changes import changes_of, code_of

SOURCE = '''
"""A module."""
LIMIT = 3

def told(low, high):
    """What is told."""
    if low > 0 and high > 0:
        return f"up by {low:.2f}"
    return "down" if high < -1 else "unclear"

class Row:
    def most(self):
        return max(self.low, 2 * LIMIT)
'''


def test_signs_bounds_ends_words_and_decimals_are_changed_one_at_a_time_and_put_back() -> None:
    tree = ast.parse(SOURCE)
    before = ast.dump(tree)
    told = {(change.function, change.out, change.put) for change in changes_of(tree)}
    assert ast.dump(tree) == before
    assert told >= {
        ("", "LIMIT = 3", "LIMIT = 4"),
        ("told", "low > 0", "low >= 0"),
        ("told", "low > 0 and high > 0", "low > 0 or high > 0"),
        ("told", "if low > 0 and high > 0:", "if True:"),
        ("told", "f'up by {low:.2f}'", "f'up by {low:.3f}'"),
        ("told", "f'up by {low:.2f}'", "f'XXup by {low:.2f}'"),
        ("told", "'down' if high < -1 else 'unclear'", "'down' if False else 'unclear'"),
        ("told", "'down' if high < -1 else 'unclear'", "'down' if high < -1 else 'XXunclear'"),
        ("told", "-1", "+1"),
        ("Row.most", "2 * LIMIT", "2 / LIMIT"),
        ("Row.most", "max(self.low, 2 * LIMIT)", "min(self.low, 2 * LIMIT)"),
        ("Row.most", "max(self.low, 2 * LIMIT)", "max(self.high, 2 * LIMIT)"),
    }
    assert not any("What is told" in change.put or "A module" in change.put for change in changes_of(tree))


def test_a_made_change_is_in_the_code_of_its_function_alone() -> None:
    tree = ast.parse(SOURCE)
    change = next(change for change in changes_of(tree) if change.put == "min(self.low, 2 * LIMIT)")
    change.make()
    assert code_of(tree, "made.py", "Row.most").co_names[0] == "min"
    change.take_back()
    assert code_of(tree, "made.py", "Row.most").co_names[0] == "max"
