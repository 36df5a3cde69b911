"""How a refusal counts."""


def counted(n: int, noun: str, several: str = "") -> str:
    """As in: 1 fit, 1,400 fits; `several` where the plural is not the noun with an s."""
    return f"{n:,} {noun if n == 1 else several or noun + 's'}"
