"""Settings of running the program: uploads, reading files, serving, signing in, access, keys; and what every section is."""

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, model_validator
from pydantic_core import PydanticCustomError

Positive = Annotated[float, Field(gt=0)]
Count = Annotated[int, Field(ge=1)]
Share = Annotated[float, Field(ge=0, le=1)]


class Section(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class Upload(Section):
    """Whether exports may be loaded, and loads taken back, from the Data page: by readers on this machine, or from others
    too; how large the files of one upload may be together; how long they are kept before they are loaded or put aside.
    `folder` is one of this machine that the page may read as it lies, such as the one that `fitledger watch` looks at;
    `fitledger start FOLDER` names its own. No browser names another one.
    """

    allowed: bool = True
    from_elsewhere: bool = False
    largest_mb: Count = 50
    kept_minutes: Count = 60
    folder: str | None = None


class Reading(Section):
    """How much one export may ask of the machine; what goes beyond is refused with a sentence, and no other file.

    A file holds at most so many rows and megabytes (a packed one: unpacked), a folder so many files, and a load so many rows
    that break a rule, since each is kept and told. The defaults admit ten million captures. Bounds that no studio needs to
    change stand in etl/limits.py. `loading_memory_mb` is what a load may hold in memory before it spills to disk; without it,
    half of what the machine, its container and the limits of the process leave.
    """

    most_rows_per_file: Count = 20_000_000
    most_mb_per_file: Count = 8_000
    most_rejected_rows: Count = 100_000
    most_files: Count = 10_000
    loading_memory_mb: Annotated[int, Field(ge=50)] | None = None

    @property
    def most_bytes_per_file(self) -> int:
        return 1_000_000 * self.most_mb_per_file


class Data(Section):
    """After how many days the newest row is called old, at the top of every page, report and answer."""

    stale_after_days: Annotated[int, Field(ge=0)] = 7


class Serving(Section):
    """Host names at which the dashboard is answered beside those of this machine itself, as behind a proxy that keeps the name
    that the reader asked for. Served on other addresses than this machine's own, it answers every name unless some are named.
    """

    hosts: tuple[str, ...] = ()
    # A proxy on this machine speaks TLS with the readers: they sign in, and cookies travel over TLS alone.
    behind_proxy: bool = False
    # How long a connection may take: for the head of a request as a whole; for a body or an answer beyond what the least rate
    # takes, or standing still; and between two requests.
    header_seconds: Positive = 10.0
    body_seconds: Positive = 30.0
    least_bytes_per_second: Positive = 4000.0
    idle_seconds: Positive = 60.0
    # How many connections are held at once, in all and for one address (not behind a proxy, which has one address itself).
    connections: Count = 1000
    connections_per_address: Count = 250
    # What is remembered of the warehouse as it stands now, in memory: a million captures take about half of it to answer from.
    remembered_mb: Count = 2000


class SignIn(Section):
    """How long readers stay signed in where a dashboard asks who is there: in all, and without use; and which roles need a
    code of an authenticator app besides their password.
    """

    longest_hours: Annotated[int, Field(ge=1, le=24)] = 12
    idle_minutes: Annotated[int, Field(ge=1, le=1440)] = 60
    second_step: tuple[Literal["owner", "head_fitter", "fitter"], ...] = ()


class Access(Section):
    """How long the log of who opened, downloaded or changed what is kept."""

    kept_days: Count = 365


class Logs(Section):
    """The form of what commands tell of their work: `text`, or `json`, an object a line with the id of its request or load. A
    command's own --log goes before it.
    """

    form: Literal["text", "json"] = "text"


class Metrics(Section):
    """Who may read /metrics beside programs on this machine itself: whoever shows the token. It is the first line of
    `token_file` (from the folder of the settings file) or the environment's FITLEDGER_METRICS_TOKEN. Behind a proxy nobody may
    without it.
    """

    token_file: str = ""


class Encryption(Section):
    """Where the key of the warehouse and its backups lies, once `fitledger encrypt` has made one: a file of its own (from the
    folder of the settings file), or an entry of the system's keyring. Never the key itself.
    """

    key_file: str = ""
    keyring: str = ""

    @model_validator(mode="after")
    def _has_one_place(self) -> "Encryption":
        if self.key_file and self.keyring:
            raise PydanticCustomError("two_places", "name key_file or keyring, not both")
        return self


class LakePlace(Section):
    """A lake, `--warehouse lake:NAME` of [lakes.NAME]: `catalogue` is a file that ends in .ducklake, or `postgres:` and how the
    database is reached, without a password; `data` its folder of data; `beside`, where the catalogue is in PostgreSQL, the
    folder in which this machine keeps its copy of it and all that lies beside a warehouse (NAME.lake unless named). Folders
    are taken from the folder of the settings file.
    """

    catalogue: str
    data: str
    beside: str = ""


class Lakes(Section):
    """The lakes of the settings, by their names, in `named`."""

    model_config = ConfigDict(frozen=True, extra="allow")
    __pydantic_extra__: dict[str, LakePlace] = Field(init=False)

    @property
    def named(self) -> dict[str, LakePlace]:
        return self.__pydantic_extra__
