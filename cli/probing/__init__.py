"""What a Modbus device holds, shown while a load is switched, or looked for by what its display shows."""

__all__ = [
    "by_document",
    "finding",
    "flow_seen",
    "kept_profile",
    "meter_search",
    "profile_words",
    "seen_words",
    "watching",
]
