"""Interrupts that come while compiled code calls back into Python, as a library's does while it is imported: they are not lost."""

import signal
import sys
from collections.abc import Iterator
from contextlib import contextmanager

AGAIN = 0.02  # s after which a swallowed interrupt comes again


@contextmanager
def none_swallowed() -> Iterator[None]:
    """Within, an interrupt that compiled code could only print and forget is raised again a moment later, and nothing printed.

    Where there is no timer (Windows), Python prints it as ever.
    """
    before = sys.unraisablehook

    def hook(unraisable) -> None:
        if unraisable.exc_type is KeyboardInterrupt and hasattr(signal, "setitimer"):
            signal.signal(signal.SIGALRM, lambda *_: signal.raise_signal(signal.SIGINT))
            signal.setitimer(signal.ITIMER_REAL, AGAIN)
        else:
            before(unraisable)

    sys.unraisablehook = hook
    try:
        yield
    finally:
        sys.unraisablehook = before
