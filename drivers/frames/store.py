"""Descriptions of frame formats: found, read, and held to their own samples."""

from collections.abc import Iterator
from math import inf, isclose, isnan
from pathlib import Path
from typing import Final

import platformdirs

from drivers.frames.description import Description, LinesFrame, Sample
from drivers.frames.frame_format import FrameFormat
from drivers.frames.framing import Frame
from drivers.frames.scales import Scale
from meterlink import declared
from meterlink.errors import InvalidFileError, MeterlinkError, UnreadableError, UsageError
from meterlink.quantities.text import plain

_CLOSE = 1e-12


def check(wire: FrameFormat) -> None:
    """Check ``wire``.

    Raises:
        InvalidFileError: a sample is not read as it says, naming the key and showing the frame;
            or some value, encoded and decoded again, comes out as another.
    """
    for fault in faults(wire):
        raise InvalidFileError(fault)


def faults(wire: FrameFormat) -> Iterator[str]:
    """Yield every fault, each a plain sentence that begins with the key."""
    for number, sample in enumerate(wire.description.samples):
        said = sample_fault(wire, sample, f"samples[{number}]")
        if said is not None:
            yield f"samples[{number}]: {said}"
    yield from _round_trip_faults(wire)


def sample_bytes(wire: FrameFormat, sample: Sample, key: str = "sample") -> bytes:
    """Return the frame of a sample, a line's end included.

    Raises:
        InvalidFileError: the sample gives no frame.
    """
    frame = wire.description.frame
    if (sample.hex is None) == (sample.text is None):
        raise InvalidFileError(f"{key}: needs its frame in either hex or text")
    if sample.hex is not None:
        try:
            return bytes.fromhex(sample.hex)
        except ValueError:
            raise InvalidFileError(f"{key}.hex: “{plain(sample.hex)}” is not hexadecimal") from None
    text = sample.text or ""
    encoding = frame.encoding if isinstance(frame, LinesFrame) else "latin-1"
    try:
        data = text.encode(encoding)
    except UnicodeEncodeError:
        raise InvalidFileError(f"{key}.text: cannot be written in {encoding}") from None
    if isinstance(frame, LinesFrame) and not data.endswith(frame.end.encode("ascii")):
        data += frame.end.encode("ascii")
    return data


def sample_fault(wire: FrameFormat, sample: Sample, key: str = "sample") -> str | None:
    """Say in what a sample is read otherwise than it says; None where all is well."""
    data = sample_bytes(wire, sample, key)
    shown = plain(sample.text.strip()) if sample.text is not None else data.hex(" ").upper()
    decoder = wire.decoder()
    decoder.expect_whole()
    frames = decoder.feed(data)
    if sample.refused:
        return f"the frame “{shown}” must be refused, but is read" if frames else None
    if len(frames) != 1:
        length = wire.longest if not isinstance(wire.description.frame, LinesFrame) else len(data)
        why = f" ({len(data)} bytes long, not {length})" if len(data) != length else ""
        return f"the frame “{shown}” is not read as a whole and sound frame{why}"
    difference = _difference(sample, frames[0])
    return None if difference is None else f"the frame “{shown}” {difference}"


def _difference(sample: Sample, frame: Frame) -> str | None:
    status = frame.status
    quantity = status.quantity.value if status.quantity is not None else "none"
    read = "an overload" if frame.overload else f"{frame.value:.12g}"
    if sample.overload:
        wanted, well = "an overload", frame.overload
    elif sample.not_a_number:
        wanted, well = "not-a-number", isnan(frame.value)
    elif sample.value is None:
        wanted, well = "", quantity == "none" or sample.quantity is not None
        if not well:
            return "has neither value, overload nor not_a_number to be compared with"
    else:
        wanted = f"{sample.value:.12g}"
        well = not frame.overload and isclose(frame.value, sample.value, rel_tol=_CLOSE)
    if not well:
        return f"is read as {read}, not {wanted}"
    if sample.quantity is not None and sample.quantity != quantity:
        return f"is read as {quantity}, not {plain(sample.quantity)}"
    if sample.resolution is not None and (
        status.resolution is None or not isclose(status.resolution, sample.resolution)
    ):
        return f"is read with a resolution of {status.resolution}, not {sample.resolution:g}"
    if sample.flags is not None:
        missing = set(sample.flags) - status.flags
        extra = (status.flags & {"hold", "battery_low", "auto", "manual"}) - set(sample.flags)
        if missing or extra:
            found = ", ".join(sorted(status.flags)) or "none"
            return f"has the flags {plain(found)}, not {plain(', '.join(sample.flags) or 'none')}"
    return None


def _round_trip_faults(wire: FrameFormat) -> Iterator[str]:
    """Encode a few values on every range and decode them again: what was said must come back."""
    encoder = wire.encoder()
    can_overload = _has_overload(wire)
    for number in range(len(wire.description.modes)):
        for scale in encoder.scales(number):
            largest = float(scale.resolution * scale.largest)
            values = [0.0, largest / 3, largest]
            values += [-largest / 2] if _has_minus(wire) else []
            values += [inf] if can_overload else []
            for value in values:
                fault = _round_trip(wire, scale, value)
                if fault is not None:
                    yield f"modes[{number}]: {fault}"
                    return


def _round_trip(wire: FrameFormat, scale: Scale, value: float) -> str | None:
    data = wire.encoder().frame(value, scale=scale)
    decoder = wire.decoder()
    decoder.expect_whole()
    frames = decoder.feed(data)
    named = wire.description.modes[scale.mode]
    is_line = isinstance(wire.description.frame, LinesFrame)
    shown = plain(data.decode("latin-1").strip()) if is_line else data.hex(" ").upper()
    said = "an overload" if value == inf else f"{value:.6g}"
    if len(frames) != 1:
        return f"{said} would be sent as “{shown}”, which is not read as a frame"
    frame = frames[0]
    quantity = frame.status.quantity.value if frame.status.quantity is not None else "none"
    bare = frame.overload and is_line and wire.description.overload.bare
    if quantity != named.quantity and not bare:
        return f"“{shown}” is read as {quantity}, not {named.quantity}"
    if (value == inf) != frame.overload:
        return f"{said} would be sent as “{shown}”, which is read as {frame.value:.6g}"
    tolerance = _tolerance(wire, scale, value)
    if value != inf and abs(frame.value - value) > tolerance:
        return f"{said} would be sent as “{shown}”, which is read as {frame.value:.6g}"
    return None


def _tolerance(wire: FrameFormat, scale: Scale, value: float) -> float:
    """Half a count, and more where a line's figures are fewer than the range's."""
    text = wire.description.text
    relative = 10.0 ** -(text.figures - 1) * abs(value) if text and text.exponent != "never" else 0
    return float(scale.resolution) * 0.5000001 + relative


def _has_minus(wire: FrameFormat) -> bool:
    told = wire.description
    signed = told.count is not None and told.count.signed
    return isinstance(told.frame, LinesFrame) or told.sign is not None or signed


def _has_overload(wire: FrameFormat) -> bool:
    overload = wire.description.overload
    told = overload.flag or overload.shown or overload.words or overload.numbers or overload.counts
    return bool(told) or overload.scpi


SHIPPED: Final = Path(__file__).parent / "descriptions"
ASKED: Final = ".scpi.toml"
"""What the names of descriptions end with that are of instruments that are asked."""


def user_folder() -> Path:
    """Return the folder of the user's own descriptions; it need not exist."""
    return platformdirs.user_config_path("meterlink", appauthor=False) / "frames"


def names(folder: Path | None = None) -> dict[str, Path]:
    """Return every frame format's name and file: those that ship, and the user's own.

    The user's own description takes the place of one that ships under the same name. A folder
    ``wires`` beside the user's folder, as it was once called, is read too.

    Args:
        folder: the user's descriptions; default ``user_folder()``.
    """
    folder = user_folder() if folder is None else folder
    found = {file.stem: file for file in sorted(SHIPPED.glob("*.toml"))}
    for own in (folder.with_name("wires"), folder):
        if own.is_dir():
            files = sorted(own.glob("*.toml"))
            found |= {file.stem: file for file in files if not file.name.endswith(ASKED)}
    return found


def load(name: str | Path, folder: Path | None = None) -> FrameFormat:
    """Return a frame format by its name, or from a file where ``name`` is a path to one.

    Raises:
        UsageError: no frame format is called so.
        UnreadableError: the file cannot be read.
        InvalidFileError: what it says is impossible; names the key.
    """
    known = names(folder)
    if isinstance(name, str) and name in known:
        wire = read(known[name])
        if wire.name == name:
            return wire
    path = Path(name)
    if path.suffix == ".toml" or path.exists():
        return read(path)
    # Somebody's file that is not called after its format.
    for wire in load_all(folder)[0]:
        if wire.name == name:
            return wire
    raise UsageError(
        f"there is no frame format called {plain(str(name))}; “meterlink frames list” shows them"
    )


def load_all(folder: Path | None = None) -> tuple[list[FrameFormat], list[MeterlinkError]]:
    """Return every frame format, and what is wrong with those of the user's that cannot be used."""
    wires: dict[str, FrameFormat] = {}
    faults: list[MeterlinkError] = []
    for path in names(folder).values():
        try:
            wire = read(path)
        except (InvalidFileError, UnreadableError) as fault:
            faults.append(fault)
        else:
            if wire.own or wire.name not in wires:
                wires[wire.name] = wire
    return list(wires.values()), faults


def read(path: Path) -> FrameFormat:
    """Return the frame format that the file ``path`` describes; errors as ``load``."""
    shown = plain(str(path))
    try:
        if path.is_dir():
            raise UnreadableError(f"{shown} is a directory, not a description of frames")
        with path.open("rb") as file:
            data = file.read(declared.LARGEST_FILE + 1)
    except FileNotFoundError as fault:
        raise UnreadableError(f"there is no file {shown}") from fault
    except OSError as fault:
        raise UnreadableError(f"{shown} cannot be read: {fault.strerror}") from fault
    description = declared.decode(data, Description, path.name, as_is=True)
    try:
        return FrameFormat(description, own=path.parent != SHIPPED)
    except InvalidFileError as fault:
        raise InvalidFileError(f"{plain(path.name)}: {fault}") from fault
