"""The test tone of a service tape: the speed error, and what would explain it.

A tone heard too high or low says how far off the tape runs. The first question near 5 % is which of
the two standard tapes was played; then belt thickness, motor speed and slip.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from kgraph.belts.drive import signed
from kgraph.belts.runs import BeltRun, RunError, check_run
from kgraph.belts.speed import CASSETTE_CM_S, SPEED_TOLERANCE, TOLERANCE_SOURCE, run_speed, thickness_for

STANDARD_TONES_HZ = (3000.0, 3150.0)
TONE_SOURCE = "3150 Hz per AES6 and IEC 60386; older service tapes use 3000 Hz"


@dataclass(frozen=True, slots=True)
class ToneReading:
    """What a test tone says: the speed error, and what would explain it.

    `other_tape` is the other standard tone (Hz) when the reading suits it better, with
    `other_error` the error if that was played: to be asked first. `thickness_mm` is the belt thickness,
    and `motor_rpm` the motor speed, that alone would explain the error of a set that was right before; None
    where not known or impossible. `run_speed_cm_s` is what the recorded run gives with the recorded belt.
    """

    error: float
    tape_speed_cm_s: float
    within_tolerance: bool
    other_tape_hz: float | None = None
    other_error: float | None = None
    thickness_mm: float | None = None
    motor_change: float = 0.0
    motor_rpm: float | None = None
    run_speed_cm_s: float | None = None
    says: tuple[str, ...] = ()


def tone_error(tone_hz: float, heard_hz: float) -> float:
    """The speed error as a fraction: heard over recorded tone, less 1.

    Raises RunError for a tone outside 20 Hz to 20 kHz, or one heard at under half or over twice its pitch.
    """
    for what, value in (("the tone", tone_hz), ("the tone heard", heard_hz)):
        if not 20 <= value <= 20000:
            raise RunError(f"{what} must be 20 to 20000 Hz, not {value:g}")
    error = heard_hz / tone_hz - 1
    if not -0.5 <= error <= 1:
        raise RunError(f"{heard_hz:g} Hz heard for {tone_hz:g} Hz: no belt changes the speed by {error:+.0%}")
    return error


def read_tone(
    tone_hz: float, heard_hz: float, run: BeltRun | None = None, thickness_mm: float | None = None
) -> ToneReading:
    """What a test tone heard at another pitch says of tape, belt and motor.

    With a run that has a driver, and the recorded belt's thickness in mm, also the thickness that would
    explain it. Raises RunError.
    """
    error = tone_error(tone_hz, heard_hz)
    other, other_error = _other_tape(tone_hz, heard_hz, error)
    thickness = rpm = by_run = None
    if run is not None:
        check_run(run)
        driver = next((p for p in run.pulleys if p.drives), None)
        rpm = driver.rpm * (1 + error) if driver and driver.rpm is not None else None
        if thickness_mm is not None:
            thickness = thickness_for(run, thickness_mm, error)
            by_run = run_speed(run, thickness_mm)
    reading = ToneReading(
        error,
        CASSETTE_CM_S * (1 + error),
        abs(error) <= SPEED_TOLERANCE + 1e-9,
        other,
        other_error,
        thickness,
        error,
        rpm,
        by_run,
    )
    return replace(reading, says=tuple(_tone_says(reading, tone_hz)))


def _other_tape(tone_hz: float, heard_hz: float, error: float) -> tuple[float | None, float | None]:
    """The other standard tone when the error is out of tolerance with this one and within it with that."""
    if tone_hz not in STANDARD_TONES_HZ or abs(error) <= SPEED_TOLERANCE:
        return None, None
    other = next(tone for tone in STANDARD_TONES_HZ if tone != tone_hz)
    other_error = heard_hz / other - 1
    return (other, other_error) if abs(other_error) <= SPEED_TOLERANCE + 1e-9 else (None, None)


def _run_says(reading: ToneReading) -> list[str]:
    """Where the recorded run contradicts what the sums below take for granted."""
    if reading.run_speed_cm_s is None:
        return []
    off = reading.run_speed_cm_s / CASSETTE_CM_S - 1
    if abs(off) <= SPEED_TOLERANCE:
        return []
    return [
        f"by its recorded run and belt the tape would run at {reading.run_speed_cm_s:.3f} cm/s, "
        f"{signed(off)}: measure the pulleys and the capstan again; what follows takes the set for right "
        "when it was new"
    ]


def _tone_says(reading: ToneReading, tone_hz: float) -> list[str]:
    """The reading in words, the question of the tape first."""
    says = []
    if reading.other_tape_hz is not None and reading.other_error is not None:
        says.append(
            f"first make sure which tape was played: on a {reading.other_tape_hz:g} Hz tape the error "
            f"would be {signed(reading.other_error)}, not {signed(reading.error)} as on {tone_hz:g} Hz "
            f"({TONE_SOURCE})"
        )
    within = "within" if reading.within_tolerance else "outside"
    says.append(
        f"the tape runs at {reading.tape_speed_cm_s:.3f} cm/s, {signed(reading.error)}, "
        f"{within} {SPEED_TOLERANCE * 100:g} % ({TOLERANCE_SOURCE})"
    )
    says += _run_says(reading)
    if reading.error == 0:
        return says
    if reading.thickness_mm is not None:
        says.append(f"a belt {reading.thickness_mm:.2f} mm thick would explain it")
    rpm = f" ({reading.motor_rpm:.0f} rpm)" if reading.motor_rpm is not None else ""
    says.append(f"a motor that runs {signed(reading.motor_change)} off its speed{rpm} would explain it")
    if reading.error < 0:
        says.append("a belt that slips, or drag in the mechanism, also slows the tape")
    return says
