"""What all our screens share: an app whose faults reach whoever ran it, and its colours.

Light, dark and plain: colours that hold for every eye, and none that says something alone.

Good, bad and unsure are blue, orange and yellow on dark, after Okabe and Ito, “Color Universal
Design” (2008), the palette made to be told apart with every common colour vision; on light they
are blue, brown and near black, chosen by measured distance. Form and word say the same everywhere.
"""

from typing import Any, Final, TypeVar

from textual._styles_cache import StylesCache
from textual.app import App, ScreenStackError
from textual.theme import Theme
from textual.worker import WorkerFailed

DARK: Final = Theme(
    name="bench-dark",
    primary="#56B4E9",
    secondary="#8AA4B8",
    accent="#F0E442",
    success="#56B4E9",
    warning="#E69F00",
    error="#FF8A4C",
    foreground="#F2F2EE",
    background="#101418",
    surface="#182028",
    panel="#222C36",
    dark=True,
    variables={"good": "#56B4E9", "bad": "#FF8A4C", "unsure": "#F0E442", "quiet": "#9AA8B4"},
)
LIGHT: Final = Theme(
    name="bench-light",
    primary="#005A8E",
    secondary="#4A5A66",
    accent="#403000",
    success="#005A8E",
    warning="#7A5200",
    error="#994D00",
    foreground="#14181C",
    background="#FAFAF6",
    surface="#F0F0EA",
    panel="#E2E4E0",
    dark=False,
    variables={"good": "#005A8E", "bad": "#994D00", "unsure": "#403000", "quiet": "#56626C"},
)
_ANSI_NAMES: Final = (
    "ansi-background",
    "ansi-foreground",
    "border-blurred",
    "block-cursor-foreground",
    "block-cursor-background",
    "input-cursor-background",
    "input-cursor-foreground",
    "input-selection-background",
    "input-selection-foreground",
    "screen-selection-background",
    "screen-selection-foreground",
)
"""What the screen library wants to know of a theme of terminal colours."""

_FOOTER_NAMES: Final = (
    "footer-foreground",
    "footer-background",
    "footer-key-foreground",
    "footer-key-background",
    "footer-description-foreground",
    "footer-description-background",
    "footer-item-background",
    "scrollbar",
    "scrollbar-background",
    "scrollbar-corner-color",
)

PLAIN: Final = Theme(
    name="bench-plain",
    primary="ansi_default",
    secondary="ansi_default",
    accent="ansi_default",
    success="ansi_default",
    warning="ansi_default",
    error="ansi_default",
    foreground="ansi_default",
    background="ansi_default",
    surface="ansi_default",
    panel="ansi_default",
    boost="ansi_default",
    dark=True,
    ansi=True,
    variables={
        **dict.fromkeys(_ANSI_NAMES, "ansi_default"),
        **dict.fromkeys(_FOOTER_NAMES, "ansi_default"),
        "input-cursor-text-style": "reverse",
        "good": "ansi_default",
        "bad": "ansi_default",
        "unsure": "ansi_default",
        "quiet": "ansi_default",
    },
)
"""The terminal's own two colours and nothing else."""

THEMES: Final = (DARK, LIGHT, PLAIN)

FALLBACK: Final = {"good": "#56B4E9", "bad": "#FF8A4C", "unsure": "#F0E442", "quiet": "#9AA8B4"}
"""For themes of the screen library, which do not know our words."""


T = TypeVar("T")


class FaultApp(App[T]):
    """Base of all our screens."""

    def get_theme_variable_defaults(self) -> dict[str, str]:
        """Give our own colour names to themes that do not know them."""
        return FALLBACK

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

    def on_unmount(self) -> None:
        """Let the screen library forget what a thousand widgets were last painted as."""
        StylesCache.get_inner_outer.cache_clear()

    def fail(self, fault: BaseException) -> None:
        """End the screen by ``fault``, which was met on a thread of ours."""
        self._handle_exception(fault if isinstance(fault, Exception) else RuntimeError(fault))

    def _handle_exception(self, error: Exception) -> None:
        """Remember ``error``, the first there is, and close, without a page of traceback."""
        if self._exit and isinstance(error, ScreenStackError):
            return  # what came in last wanted a page, and all of them have been taken down
        self._return_code = 1
        if self._exception is None:
            self._exception = error
            self._exception_event.set()
        self._close_messages_no_wait()
