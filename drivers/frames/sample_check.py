"""Checks a wire against its own samples, and its encoder against its decoder."""

from collections.abc import Iterator
from math import inf, isclose, isnan

from drivers.frames.description import LinesFrame, Sample
from drivers.frames.frame import Frame
from drivers.frames.frame_format import FrameFormat
from drivers.frames.modes import Scale
from meterlink.declared import InvalidFileError
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
            raise InvalidFileError(f"{key}.hex: «{plain(sample.hex)}» is not hexadecimal") from None
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
        return f"the frame «{shown}» must be refused, but is read" if frames else None
    if len(frames) != 1:
        length = wire.longest if not isinstance(wire.description.frame, LinesFrame) else len(data)
        why = f" ({len(data)} bytes long, not {length})" if len(data) != length else ""
        return f"the frame «{shown}» is not read as a whole and sound frame{why}"
    difference = _difference(sample, frames[0])
    return None if difference is None else f"the frame «{shown}» {difference}"


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
        return f"{said} would be sent as «{shown}», which is not read as a frame"
    frame = frames[0]
    quantity = frame.status.quantity.value if frame.status.quantity is not None else "none"
    bare = frame.overload and is_line and wire.description.overload.bare
    if quantity != named.quantity and not bare:
        return f"«{shown}» is read as {quantity}, not {named.quantity}"
    if (value == inf) != frame.overload:
        return f"{said} would be sent as «{shown}», which is read as {frame.value:.6g}"
    tolerance = _tolerance(wire, scale, value)
    if value != inf and abs(frame.value - value) > tolerance:
        return f"{said} would be sent as «{shown}», which is read as {frame.value:.6g}"
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
