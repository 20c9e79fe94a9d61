from __future__ import annotations

from footwork.questions.devices.device_list import PROTOCOL, all_devices, device_check, recent_jump
from footwork.questions.devices.power_of_scale import power_at_speed
from footwork.questions.devices.two_devices import SIGNALS, compare_files, compare_recordings, recording_traces

__all__ = [
    "PROTOCOL",
    "SIGNALS",
    "all_devices",
    "compare_files",
    "compare_recordings",
    "device_check",
    "power_at_speed",
    "recent_jump",
    "recording_traces",
]
