"""An app whose faults reach whoever ran it.

The screen library catches what its handlers and workers raise, prints a page of traceback with
every local name, and returns as though nothing had been. Here the terminal is given back first,
nothing is printed, and ``run`` raises what was raised.
"""

from typing import Any, TypeVar

from textual.app import App
from textual.worker import WorkerFailed

T = TypeVar("T")


class FaultApp(App[T]):
    """Base of all our screens."""

    def run(self, **how: Any) -> T | None:
        """Run until the user leaves; arguments and result as the library has them.

        Raises:
            Exception: what a handler or worker raised, once the terminal is as it was.
        """
        result = super().run(**how)
        fault = self._exception
        if isinstance(fault, WorkerFailed) and isinstance(fault.error, Exception):
            fault = fault.error
        if fault is not None:
            raise fault
        return result

    def fail(self, fault: BaseException) -> None:
        """End the screen by ``fault``, which was met on a thread of ours."""
        self._handle_exception(fault if isinstance(fault, Exception) else RuntimeError(fault))

    def _handle_exception(self, error: Exception) -> None:
        """Remember ``error``, the first there is, and close, without a page of traceback."""
        self._return_code = 1
        if self._exception is None:
            self._exception = error
            self._exception_event.set()
        self._close_messages_no_wait()
