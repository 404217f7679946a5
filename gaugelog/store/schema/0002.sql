-- Schema 2 gives a checksum to every row that had none, and counts the rows that may go again. Recordings of schema 1
-- open as they are; the next command that writes one seals what is there.

ALTER TABLE sitting ADD COLUMN end_checksum INTEGER; -- CRC-32 of id, latest_utc_us and ended_utc_us
ALTER TABLE clock ADD COLUMN checksum INTEGER; -- CRC-32 of the row
ALTER TABLE instrument ADD COLUMN checksum INTEGER; -- CRC-32 of the row
ALTER TABLE skip ADD COLUMN checksum INTEGER; -- CRC-32 of the row
ALTER TABLE event ADD COLUMN checksum INTEGER; -- CRC-32 of the row
ALTER TABLE gap ADD COLUMN checksum INTEGER; -- CRC-32 of the row
ALTER TABLE tally ADD COLUMN checksum INTEGER; -- CRC-32 of the row
ALTER TABLE reject ADD COLUMN checksum INTEGER; -- CRC-32 of the row
ALTER TABLE reject_raw ADD COLUMN checksum INTEGER; -- CRC-32 of the row

-- How many rows there are in each table whose numbers tell nothing of that: one that vanishes is missed.
CREATE TABLE row_count (
    name TEXT PRIMARY KEY, -- the table
    n INTEGER NOT NULL -- its rows
);
