"""The pump's pulse, without a flow meter: what its runs and starts say of flow, water and wear."""

__all__ = ["days", "flow", "flow_trend", "pulse", "quiet", "starts"]
