"""For an eye: numbers as text, terminal views, charts, the report, JSON documents. It opens no recording."""
