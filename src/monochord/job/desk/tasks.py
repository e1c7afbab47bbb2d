"""Long work that goes on beside the pages: started, watched, stopped; each task is a process of its own."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import threading
from collections import OrderedDict
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from monochord.ground.faults import Fault, Refused
from monochord.job.context import Context

#: So many tasks may be under way at once, and so many ended ones are remembered.
MOST_AT_ONCE, REMEMBERED = 4, 200
#: So many lines of progress are kept of a task, the last ones.
LINES = 200


@dataclass(slots=True)
class Task:
    """One piece of work. state  "running", "done", "refused", "stopped" or "failed"."""

    id: str
    name: str
    about: str
    begun: str
    by: str = ""
    state: str = "running"
    lines: list[str] = field(default_factory=list)
    told: Mapping[str, object] = field(default_factory=dict)
    faults: list[str] = field(default_factory=list)


class Tasks:
    """The tasks of one server.

    changed  is called, from any thread, with every task that said something or changed its state
    """

    def __init__(self, context: Context, changed: Callable[[Task], None] = lambda _: None) -> None:
        self.context, self.changed = context, changed
        self._tasks: OrderedDict[str, Task] = OrderedDict()
        self._running: dict[str, subprocess.Popen[str]] = {}
        self._lock = threading.Lock()

    def start(self, name: str, about: str, given: Mapping[str, object], by: str = "") -> Task:
        """Start work of ``monochord.job.desk.work``; Refused when the same is under way, or too much is."""
        with self._lock:
            under_way = [self._tasks[key] for key in self._running]
            if any((t.name, t.about) == (name, about) for t in under_way):
                raise Refused(
                    [Fault(f"{name} of {about}, which is under way", "one at a time", "wait for it, or stop it")]
                )
            if len(under_way) >= MOST_AT_ONCE:
                raise Refused(
                    [Fault(f"{len(under_way)} tasks under way", f"at most {MOST_AT_ONCE}", "wait for one to end")]
                )
            task = Task(self.context.new_id(), name, about, self.context.now().isoformat(timespec="seconds"), by)
            process = subprocess.Popen(
                [sys.executable, "-m", "monochord.job.desk.work", name],
                stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, encoding="utf-8",
                env=os.environ | {"OPENBLAS_NUM_THREADS": "1"},
            )  # fmt: skip
            self._tasks[task.id], self._running[task.id] = task, process
            while len(self._tasks) > REMEMBERED + MOST_AT_ONCE:
                self._forget_one()
        threading.Thread(target=self._follow, args=(task, process, json.dumps(dict(given))), daemon=True).start()
        self.changed(task)
        return task

    def _forget_one(self) -> None:
        ended = next((key for key in self._tasks if key not in self._running), None)
        if ended is not None:
            del self._tasks[ended]

    def _follow(self, task: Task, process: subprocess.Popen[str], given: str) -> None:
        errors = process.stderr
        assert process.stdin is not None
        assert process.stdout is not None
        assert errors is not None
        try:
            process.stdin.write(given)
            process.stdin.close()
        except BrokenPipeError:
            pass  # it ended before it listened; what it said is read below
        said: list[str] = []
        listener = threading.Thread(target=lambda: said.append(errors.read()[-4000:]), daemon=True)
        listener.start()
        for line in process.stdout:
            self._heard(task, line)
        process.wait()
        listener.join()
        process.stdout.close()
        errors.close()
        with self._lock:
            self._running.pop(task.id, None)
            if task.state == "running":  # it ended without a word on how
                task.state = "failed"
                task.faults = [
                    f"the work ended with {process.returncode}: {(said or [''])[0].strip()[-600:] or 'no word'}"
                ]
        self.changed(task)

    def _heard(self, task: Task, line: str) -> None:
        what = json.loads(line)
        if "say" in what:
            task.lines = [*task.lines, str(what["say"])][-LINES:]
        elif "done" in what:
            task.told, task.state = what["done"], "done"
        elif "refused" in what:
            task.faults, task.state = [str(fault) for fault in what["refused"]], "refused"
        self.changed(task)

    def stop(self, key: str) -> Task:
        """Stop a task; one that has ended stays as it is."""
        task = self.task(key)
        with self._lock:
            process = self._running.get(key)
            if process is not None and task.state == "running":
                task.state = "stopped"
                process.terminate()
        self.changed(task)
        return task

    def task(self, key: str) -> Task:
        """The task of this id; Refused when there is none."""
        if key not in self._tasks:
            raise Refused([Fault("a task that is not known", "one of this server", "look at the list of tasks")])
        return self._tasks[key]

    def all(self) -> list[Task]:
        """Every task that is remembered, the newest first."""
        return list(reversed(self._tasks.values()))

    def close(self) -> None:
        """Stop whatever is under way."""
        for key in list(self._running):
            self.stop(key)
