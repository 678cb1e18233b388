"""Many people solved at once, on local processes or a Dask cluster: rows in the order they end.

Few tasks are under way at any moment, so memory stays flat however many people there are. A worker
that dies takes nobody with it: its people are given to another one, and a person at whose data
workers die again and again is recorded with that. The only module that knows Dask.
"""

from __future__ import annotations

import multiprocessing
import os
import threading
from collections.abc import Iterable, Iterator
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from itertools import islice
from typing import Any

from headfit.cohort.people import Person
from headfit.cohort.person_row import PersonRow, failed_row, person_row
from headfit.errors import InputError, missing_library, sentence

_AHEAD = 4  # tasks under way for each worker, so that none waits
_TRIES = 3
_DIED = "the worker died each time this person was computed (too little memory?)"
Solved = tuple[Person, PersonRow]


def solved_people(
    people: Iterable[Person],
    system: str,
    by: str = "",
    *,
    workers: int | None = None,
    dask: str | None = None,
) -> Iterator[Solved]:
    """Every person with their row, in the order in which they end.

    Parameters
    ----------
    people : iterable of Person
    system, by : str
        As for `person_row`.
    workers : int, optional
        Local processes; default one a processor. 0 computes in this process.
    dask : str, optional
        Address of a Dask scheduler, or "local:N", which starts one with N worker processes.

    Raises
    ------
    InputError
        The scheduler does not answer, or dask.distributed is not installed.
    """
    if dask is not None:
        yield from _on_dask(people, system, by, dask)
    elif workers == 0:
        yield from (_solve(person, system, by) for person in people)
    else:
        yield from _on_processes(people, system, by, workers or os.cpu_count() or 1)


def _solve(person: Person, system: str, by: str) -> Solved:
    try:
        return person, person_row(person, system, by)
    except Exception as error:  # noqa: BLE001 - one person must not end the study of the others
        return person, failed_row(person, f"not computed: {type(error).__name__}: {error}")


def _on_processes(
    people: Iterable[Person], system: str, by: str, n_workers: int
) -> Iterator[Solved]:
    rest = iter(people)
    suspects: list[tuple[Person, int]] = []
    while True:
        with _pool(n_workers) as pool:
            under_way: dict[Future[Solved], Person] = {}
            try:
                for person in islice(rest, _AHEAD * n_workers):
                    under_way[pool.submit(_solve, person, system, by)] = person
                while under_way:
                    done, _ = wait(under_way, return_when=FIRST_COMPLETED)
                    for future in done:
                        found = future.result()
                        del under_way[future]
                        yield found
                        for person in islice(rest, 1):
                            under_way[pool.submit(_solve, person, system, by)] = person
            except BrokenProcessPool:
                suspects = [(person, 1) for person in under_way.values()]
        if not suspects:
            return
        yield from _one_by_one(suspects, system, by)
        suspects = []


def _one_by_one(suspects: list[tuple[Person, int]], system: str, by: str) -> Iterator[Solved]:
    """People under way when a worker died, each alone, so that the blame falls on the right one."""
    for person, tries in suspects:
        for _ in range(tries, _TRIES):
            with _pool(1) as pool:
                try:
                    found = pool.submit(_solve, person, system, by).result()
                except BrokenProcessPool:
                    continue
                yield found
                break
        else:
            yield person, failed_row(person, _DIED)


def _pool(n_workers: int) -> ProcessPoolExecutor:
    # A fresh interpreter each: a forked one may hold a lock of a thread that is not there.
    context = multiprocessing.get_context("spawn")
    return ProcessPoolExecutor(n_workers, mp_context=context, initializer=_begin)


def _begin() -> None:
    """What a worker does first: keep to one thread, and watch over the process it works for."""
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    threading.Thread(target=_end_with_parent, daemon=True).start()


def _end_with_parent() -> None:
    # A study that is killed cannot end its workers, which would wait for the next person for ever.
    parent = multiprocessing.parent_process()
    assert parent is not None
    parent.join()
    os._exit(1)


def _on_dask(people: Iterable[Person], system: str, by: str, address: str) -> Iterator[Solved]:
    try:
        from dask.distributed import as_completed
    except ImportError as error:
        raise missing_library("dask", "run on a cluster", extra="study") from error
    with _client(address) as client:
        rest = iter(people)
        n_workers = max(1, len(client.scheduler_info(n_workers=-1)["workers"]))

        def submit(person: Person) -> Any:
            # Never pure: the same person twice would be taken from the memory of the cluster.
            future = client.submit(_solve, person, system, by, pure=False)
            asked[future.key] = person
            return future

        asked: dict[str, Person] = {}
        first = [submit(person) for person in islice(rest, _AHEAD * n_workers)]
        under_way = as_completed(first)
        for future in under_way:
            person = asked.pop(future.key)
            failed = future.exception()
            yield future.result() if failed is None else (person, failed_row(person, _DIED))
            for following in islice(rest, 1):
                under_way.add(submit(following))


@contextmanager
def _client(address: str) -> Iterator[Any]:
    """A client of the scheduler at an address, or of one that is started and ended here."""
    from dask.distributed import Client, LocalCluster

    kind, _, number = address.partition(":")
    if kind == "local":
        if not (number.isdecimal() and 0 < int(number) <= 1024):
            raise InputError(
                sentence("--dask", "be local:N with 1 to 1024 workers", repr(address)),
                code="dask-address",
            )
        with (
            LocalCluster(
                n_workers=int(number),
                threads_per_worker=1,
                host="127.0.0.1",
                dashboard_address=None,
                silence_logs=50,
            ) as cluster,
            Client(cluster) as client,
        ):
            yield client
        return
    try:
        client = Client(address, timeout=20)
    except (OSError, ValueError, TimeoutError) as error:
        raise InputError(
            sentence(
                "--dask",
                "name a scheduler that answers",
                f"{address!r}: {error}",
                "such as tcp://10.0.0.5:8786",
            ),
            code="dask-address",
        ) from error
    with client:
        yield client
