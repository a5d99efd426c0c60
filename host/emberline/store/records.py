"""What the store takes in and hands out: portions of a commit, trials, gaps, notes and receipts."""

from collections.abc import Sequence
from dataclasses import dataclass

from emberline.bench.samples import SampleBatch


@dataclass(frozen=True, slots=True)
class Trial:
    """One trial as it is kept.

    Attributes:
        id: Short name, unique in its store: day of the start and a count.
        bench: Id of the bench.
        label: A person's name for it, or None.
        origin: `live`, or `import`, whose samples belong to this trial alone.
        source: Name of the imported file, or None.
        start_ns: UTC nanoseconds of `t_s = 0`.
        end_ns: UTC nanoseconds of its end; None while it is open.
        zone: Name of the time zone in which a person reads the times.
        relative: Whether the record had times of its own but no date, so that `start_ns` is the moment of the import.
        remarks: What was assumed or set aside when an import was read, a sentence each.
        created_ns: When the trial was entered.
        bench_text: The bench file that held then; empty for the assumed default bench.
        plan_text: The plan file entered last; empty without one.
        additions: How often something was added to its record after its end.
    """

    id: str
    bench: str
    label: str | None
    origin: str
    source: str | None
    start_ns: int
    end_ns: int | None
    zone: str
    relative: bool
    remarks: tuple[str, ...]
    created_ns: int
    bench_text: str
    plan_text: str
    additions: int = 0

    @property
    def packed(self) -> bool:
        """Whether it came as another store's pack, which says what the live run there announced."""
        return self.origin == "import" and (self.source or "").endswith(".zip")


@dataclass(frozen=True, slots=True)
class Gap:
    """Samples `first_seq` to `next_seq - 1` of a stream are lost for good, with the reason.

    Attributes:
        start_ns: UTC nanoseconds of the last sample before the gap (or the best estimate).
        end_ns: UTC nanoseconds of the first sample after it.
    """

    device: str
    boot: int
    channel: str
    first_seq: int
    next_seq: int
    start_ns: int
    end_ns: int
    reason: str


@dataclass(frozen=True, slots=True)
class Portion:
    """What is to be stored of one bench at once.

    Attributes:
        bench: Id of the bench; entered if new.
        batches: In the order of their arrival.
        gaps: Losses known for good.
        trial: Set where the samples belong to this imported trial alone.
    """

    bench: str
    batches: Sequence[SampleBatch]
    gaps: Sequence[Gap] = ()
    trial: str | None = None


@dataclass(frozen=True, slots=True)
class CommitReceipt:
    """What one commit put on disk.

    Attributes:
        commit: Id of the commit, growing in their order; None if no sample in it was new.
        stored: The samples that were new, in the order given.
        repeated: Number of samples left out because they were stored before.
        flagged: The parts of the gaps that were new.
        added_to: Ids of trials that had ended and were given some of this.
    """

    commit: int | None
    stored: tuple[SampleBatch, ...]
    repeated: int
    flagged: tuple[Gap, ...]
    added_to: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Tally:
    """Numbers of samples of one stream that are stored, and that are flagged lost."""

    stored: int
    lost: int


@dataclass(frozen=True, slots=True)
class Note:
    """A person's remark."""

    t_ns: int
    text: str
    trial: str | None


@dataclass(frozen=True, slots=True)
class StoredAlarm:
    """An alarm as it is kept.

    Attributes:
        bench: Id of the bench.
        kind: What it was about.
        raised_ns: When it was raised, UTC nanoseconds.
        text: Its evidence in words and numbers.
        cleared_ns: When its cause had gone; None while that lasts, and where the program ended before.
        acknowledged_ns: When somebody had seen it; None where nobody has.
        acknowledged_by: Who; may be empty.
    """

    bench: str
    kind: str
    raised_ns: int
    text: str
    cleared_ns: int | None
    acknowledged_ns: int | None
    acknowledged_by: str


@dataclass(frozen=True, slots=True)
class StoredSummary:
    """A summary document as it was written.

    Attributes:
        document: The document.
        version: Software version that worked it out.
        listing: What a list of trials shows of it; empty where an earlier version wrote it.
        behind: Whether something was added to its trial that it does not know of.
    """

    document: str
    version: str
    listing: str = ""
    behind: bool = False


@dataclass(frozen=True, slots=True)
class Pruned:
    """What a pruning did.

    Attributes:
        blocks: Blocks taken out.
        waiting: Blocks old enough that stay because they were not forwarded yet.
    """

    blocks: int
    waiting: int
