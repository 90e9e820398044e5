"""The log in Parquet: its readings, its metadata, their order in time, and which spacings are gaps."""
