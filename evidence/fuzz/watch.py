"""Cases run under limits of time and memory, in processes that may die without taking the study with them.

A case that needs more processor time than it may is a hang; an exception other than a refusal is a crash, and so is
the death of the process. Everything else that a case has to say is one line that begins with the kind of the failure.
"""

from __future__ import annotations

import itertools
import json
import math
import multiprocessing
import resource
import signal
import time
import traceback
from collections import Counter, deque
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from multiprocessing.connection import Connection
from pathlib import Path
from random import Random
from types import FrameType

from monochord.ground.faults import Refused

#: Processor time that one case may take [s]: inputs have some kilobytes, and reading one takes milliseconds.
LIMIT = 5.0

#: Seconds without a case done after which a process is taken for hung.
STUCK = 180.0

#: Seconds between two words of progress.
PROGRESS = 20.0

#: Memory that a process may ask for [bytes].
MOST_MEMORY = 4 << 30

#: Cases handed to a process at most at once (few of a slow reader that has few), and failures of which the words are kept.
CHUNK, KEPT = 250, 200

Case = Callable[[Random], str]


class _TooLong(BaseException):
    """Raised inside a case that takes too long; no reader catches it."""


@dataclass(slots=True)
class Tally:
    """What came of many cases.

    cases      by reader;  failures  by reader and kind ("crash", "hang", "partial", "wrong", "unsaid")
    told       (reader, case, words) of the first failures;  memory  largest resident size of a process [bytes]
    """

    cases: Counter[str] = field(default_factory=Counter)
    failures: Counter[tuple[str, str]] = field(default_factory=Counter)
    told: list[tuple[str, int, str]] = field(default_factory=list)
    memory: int = 0

    def add(self, other: Tally) -> None:
        """Take in what came of other cases."""
        self.cases += other.cases
        self.failures += other.failures
        self.told = [*self.told, *other.told][:KEPT]
        self.memory = max(self.memory, other.memory)

    def note(self, reader: str, case: int, words: str) -> None:
        """Count one failure."""
        self.failures[reader, words.partition(":")[0]] += 1
        if len(self.told) < KEPT:
            self.told.append((reader, case, words))


def drawn(seed: int, reader: str, case: int) -> Random:
    """The numbers from which one case is made: the same for the same seed, reader and case."""
    return Random(f"{seed}/{reader}/{case}")


def one(run: Case, rng: Random) -> str:
    """What one case has to say, "" when everything is as it should be."""

    def stop(_signal: int, _frame: FrameType | None) -> None:
        raise _TooLong

    before = signal.signal(signal.SIGPROF, stop)
    signal.setitimer(signal.ITIMER_PROF, LIMIT)
    try:
        return run(rng)
    except Refused as refusal:
        return unsaid(refusal)
    except _TooLong:
        return f"hang: more than {LIMIT:g} s of processor time"
    except Exception as error:
        last = traceback.extract_tb(error.__traceback__)[-1]
        return f"crash: {type(error).__name__} in {last.name}, {last.filename}:{last.lineno}: {str(error)[:120]}"
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0.0)
        signal.signal(signal.SIGPROF, before)


def unsaid(refusal: Refused) -> str:
    """What a refusal leaves unsaid: it must say what was found, what was expected and what to do."""
    if not refusal.faults:
        return "unsaid: a refusal without a fault"
    for fault in refusal.faults:
        if not (fault.given and fault.expected and fault.remedy):
            return f"unsaid: {fault}"
    return ""


def here(seed: int, reader: str, run: Case, cases: Sequence[int], beat: Callable[[int], None] | None = None) -> Tally:
    """The cases of one reader, run in this process."""
    tally = Tally()
    for case in cases:
        words = one(run, drawn(seed, reader, case))
        tally.cases[reader] += 1
        if words:
            tally.note(reader, case, words)
        if beat is not None:
            beat(case)
    used = max(resource.getrusage(who).ru_maxrss for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))
    tally.memory = used << 10
    return tally


@dataclass(frozen=True, slots=True)
class Long:
    """How a long run goes on.

    processes  at a time;  say  what is told of its progress now and then
    kept       file to which every chunk that is done is added: a run that was broken off goes on behind it
    minutes    after which no further chunk is begun
    """

    processes: int
    say: Callable[[str], None]
    kept: Path
    minutes: float = math.inf


def everywhere(seed: int, readers: Mapping[str, Case], sizes: Mapping[str, int], long: Long) -> Tally:
    """All cases of all readers, in so many processes at a time, a chunk of each reader in turn."""
    total, done = _before(long.kept)
    pieces = {reader: min(CHUNK, max(5, sizes[reader] // 40)) for reader in readers}
    chunks = deque(
        (reader, range(i * pieces[reader], min((i + 1) * pieces[reader], sizes[reader])))
        for i in range(max(sizes.values()))
        for reader in readers
        if i * pieces[reader] < sizes[reader] and (reader, i * pieces[reader]) not in done
    )
    running, begun = list[_Process](), time.monotonic()
    said = begun
    while chunks or running:
        if time.monotonic() - begun > long.minutes * 60.0:
            chunks.clear()
        while chunks and len(running) < long.processes:
            reader, cases = chunks.popleft()
            running.append(_Process(seed, reader, readers[reader], cases))
        for process in list(running):
            if (tally := process.done()) is not None:
                running.remove(process)
                total.add(tally)
                _keep(long.kept, process.reader, process.cases.start, tally)
                if process.left:  # the case that killed the process is counted; the others are run
                    chunks.appendleft((process.reader, process.left))
        if time.monotonic() - said > PROGRESS:
            said = time.monotonic()
            failed = sum(total.failures.values())
            long.say(f"{total.cases.total()} of {sum(sizes.values())} cases, {failed} failures")
        time.sleep(0.02)
    if total.cases.total() == sum(sizes.values()):
        long.kept.unlink(missing_ok=True)
    return total


def _keep(kept: Path, reader: str, start: int, tally: Tally) -> None:
    """Add a chunk that is done to the file of a run."""
    failures = [[*key, count] for key, count in tally.failures.items()]
    line = [reader, start, dict(tally.cases), failures, tally.told, tally.memory]
    with kept.open("a", encoding="utf-8") as stream:
        stream.write(json.dumps(line) + "\n")


def _before(kept: Path) -> tuple[Tally, set[tuple[str, int]]]:
    """What a run that was broken off had done, and its chunks by reader and first case."""
    total, done = Tally(), set[tuple[str, int]]()
    for line in kept.read_text("utf-8").splitlines() if kept.exists() else []:
        try:
            reader, start, cases, failures, told, memory = json.loads(line)
        except ValueError:
            continue  # broken off while it was written: that chunk is run again
        done.add((reader, start))
        counted = Counter({(name, kind): count for name, kind, count in failures})
        total.add(Tally(Counter(cases), counted, [(r, c, w) for r, c, w in told], memory))
    return total, done


class _Process:
    """A process that runs some cases of one reader."""

    def __init__(self, seed: int, reader: str, run: Case, cases: range) -> None:
        context = multiprocessing.get_context("fork")
        self.reader, self.cases, self.left = reader, cases, range(0)
        self.pipe, far = context.Pipe(duplex=False)
        self.beat = context.Value("q", cases.start - 1, lock=False)
        self.seen, self.moment = cases.start - 1, time.monotonic()
        arguments = (seed, reader, run, cases, far, self.beat)
        self.process = context.Process(target=_work, args=arguments)
        self.process.start()
        far.close()

    def done(self) -> Tally | None:
        """What came of the cases, None while they run; a process that is stuck or dead is one failure."""
        if self.pipe.poll():
            try:
                tally = self.pipe.recv()
            except EOFError:
                return self._lost("crash: the process died")
            self.process.join()
            assert isinstance(tally, Tally)
            return tally
        if self.beat.value != self.seen:
            self.seen, self.moment = self.beat.value, time.monotonic()
        if time.monotonic() - self.moment > STUCK:
            self.process.kill()
            return self._lost(f"hang: nothing done in {STUCK:g} s")
        return None if self.process.is_alive() or self.pipe.poll() else self._lost("crash: the process died")

    def _lost(self, words: str) -> Tally:
        self.process.join()
        case = self.beat.value + 1
        self.left = range(case + 1, self.cases.stop)
        tally = Tally()
        tally.cases[self.reader] += case + 1 - self.cases.start
        tally.note(self.reader, case, f"{words} ({self.process.exitcode})")
        return tally


class _Beat:
    """The number of the last case that was done, where the other process sees it."""

    value: int


def _work(  # noqa: PLR0917 (private)
    seed: int, reader: str, run: Case, cases: range, pipe: Connection, beat: _Beat
) -> None:
    resource.setrlimit(resource.RLIMIT_AS, (MOST_MEMORY, MOST_MEMORY))

    def told(case: int) -> None:
        beat.value = case

    pipe.send(here(seed, reader, run, cases, told))
    pipe.close()


def spread(shares: Mapping[str, float], size: int) -> dict[str, int]:
    """So many cases of each reader that they are ``size`` together, by shares; at least one each.

    >>> spread({"a": 9.0, "b": 1.0}, 20)
    {'a': 18, 'b': 2}
    """
    total = sum(shares.values())
    ends = [round(size * part / total) for part in itertools.accumulate(shares.values())]
    return {name: max(1, end - start) for name, start, end in zip(shares, [0, *ends[:-1]], ends, strict=True)}
