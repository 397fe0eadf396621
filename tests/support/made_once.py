"""What is costly to make and the same for several tests, made once for all workers of a run."""

import fcntl
import pickle


def made_once(folder, wanted, make):
    """Return one value for each key: kept in the folder if another test or worker made it.

    Workers that want the same at the same time share the work: each first makes what nobody else is
    making, and waits for the rest then. A lock ends with the worker that holds it.

    Parameters
    ----------
    folder : Path
        The same for all workers.
    wanted : sequence of str
        Keys, which are file names too.
    make : callable
        Takes a key and returns its value.
    """
    for may_wait in (False, True):
        for key in wanted:
            _made(folder / key, key, make, may_wait)
    return [pickle.loads((folder / key).read_bytes()) for key in wanted]


def _made(path, key, make, may_wait):
    if path.exists():
        return
    with path.with_name(f"{key}.lock").open("w") as lock:
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | (0 if may_wait else fcntl.LOCK_NB))
        except BlockingIOError:
            return
        if not path.exists():
            part = path.with_name(f"{key}.part")
            part.write_bytes(pickle.dumps(make(key)))
            part.rename(path)
