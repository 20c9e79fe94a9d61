"""Full-power fields and measures of form in FIT files, native or developer fields, found by what the file declares."""

from __future__ import annotations

import hashlib
import re
from typing import Any

import numpy as np

from footwork.quantities import Floats
from footwork.signals import FORM

_PARTIAL = {
    "form",
    "air",
    "wind",
    "impact",
    "elastic",
    "brake",
    "braking",
    "vertical",
    "lateral",
    "horizontal",
    "left",
    "right",
    "leg",
    "ground",
    "landing",
}


_FULL = {"power", "running power", "run power", "total power"}


_FOOT_SENSORS = {"stride_speed_distance", 124}


_POWER_SENSORS = {"bike_power", 11} | _FOOT_SENSORS  # a bicycle's meter in a multisport file is not the run's


UNITS = {"s": 1.0, "ms": 1e-3, "m": 1.0, "cm": 1e-2, "mm": 1e-3, "n/m": 1.0, "kn/m": 1000.0, "": 1.0, "%": 0.01}


def form_columns(declared: list[dict[Any, Any]], records: dict[str, Floats]) -> dict[str, Floats]:
    """Measures of form that developer fields hold, by their names in `FORM`, in SI units by the unit that they declare;
    shape (n,) each. The first field of a name counts; one in an unknown unit is passed over. [SI]"""
    out: dict[str, Floats] = {}
    for m in declared:
        name, unit = str(m.get("field_name", "")), str(m.get("units", "")).lower().strip()
        words = "_".join(re.sub(r"([a-z])([A-Z])", r"\1 \2", name).lower().replace("_", " ").split())
        measure = next((k for k, known in FORM.items() if words in (k, *known.also)), None)
        apart = f"developer:{m.get('developer_data_index')}:{m.get('field_definition_number')}"
        column = apart if apart in records else name
        if measure and unit in UNITS and column in records and np.isfinite(records[column]).any():
            out.setdefault(measure, records[column] * UNITS[unit])
    return out


def power_columns(
    messages: Any, records: dict[str, Floats], mass: float | None, native: set[str]
) -> list[tuple[str, str, str]]:
    """Each full-power field as ``(record column, scale key, kind)``; the native field first."""
    found: list[tuple[str, str, str]] = []
    weight = "" if mass is None else f"{mass:.0f}"
    kinds = (
        _POWER_SENSORS
        if all(str(s.get("sport", "running")) == "running" for s in messages.get("session"))
        else _FOOT_SENSORS
    )
    sensor = next(
        (
            m
            for m in messages.get("device_info")
            if {m.get("antplus_device_type"), m.get("device_type"), m.get("ble_device_type")} & kinds
            and m.get("serial_number")
        ),
        None,
    )
    who: dict[Any, Any] = sensor or next(iter(messages.get("file_id")), {})
    # The serial alone names the producer: makers' and products' names differ between decoders.
    producer = (who.get("serial_number") or who.get("product", who.get("product_name")),)
    if "power" in records and np.isfinite(records["power"]).any():
        found.append(("power", scale_key("native", *producer, weight), "foot sensor" if sensor else "device"))
    applications = {
        m.get("developer_data_index"): _hex(m.get("application_id")) for m in messages.get("developer_data_id")
    }
    for m in messages.get("field_description"):
        name, unit = str(m.get("field_name", "")), str(m.get("units", "")).lower().strip()
        message = m.get("native_mesg_num", "record")
        declared = m.get("native_field_num") in (7, "power") and message in ("record", 20, None)
        by_name = name.lower().replace("_", " ").strip() in _FULL and unit in ("w", "watt", "watts")
        words = set(re.sub(r"([a-z])([A-Z])", r"\1 \2", name).lower().replace("_", " ").split())
        if not (declared or by_name) or words & _PARTIAL:
            continue
        index, number = m.get("developer_data_index"), m.get("field_definition_number")
        column = f"developer:{index}:{number}" if f"developer:{index}:{number}" in records else name
        if column in records and column not in native and np.isfinite(records[column]).any():
            key = scale_key("developer", *producer, applications.get(index), number, name, weight)
            found.append((column, key, "foot sensor"))
    return found


def _hex(application: object) -> str:
    """An application id as text, whichever decoder gave it."""
    try:
        if isinstance(application, (str, int)):
            return str(application)
        return bytes(application).hex()  # type: ignore[call-overload,no-any-return]
    except (TypeError, ValueError):
        return str(application)


def scale_key(*parts: object) -> str:
    """A short stable name for who produced the watts, which tells nobody the maker."""
    return hashlib.blake2s("|".join(str(p) for p in parts).encode(), digest_size=6).hexdigest()
