-- Schema 1 of a gaugelog recording: one SQLite file for one piece of work.
--
-- Times named utc_us are microseconds since 1970 UTC; times named monotonic_ns are nanoseconds of the writing machine's
-- monotonic clock and mean something only within their sitting. A value named value_base is in the base unit of its
-- quantity: degrees, millimetres, degrees Celsius, percent relative humidity. Nothing is ever deleted from a table
-- with AUTOINCREMENT: SQLite's own count of the numbers given out tells whether a row has vanished.

-- One run of a program that wrote: the two clocks at its start, who wrote, and how far it came.
CREATE TABLE sitting (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    monotonic_ns INTEGER NOT NULL, -- the monotonic clock at the anchor
    utc_us INTEGER NOT NULL, -- the wall clock at the anchor
    utc_offset_s INTEGER NOT NULL, -- local time less UTC, where it was written
    command TEXT NOT NULL, -- the command that wrote, such as clamp
    program TEXT NOT NULL, -- program and version
    host TEXT NOT NULL, -- the machine's name
    pid INTEGER NOT NULL, -- the program's process number there
    latest_utc_us INTEGER NOT NULL, -- the latest moment that was stored
    ended_utc_us INTEGER, -- when it was finished; NULL while it writes, or if it was cut off
    checksum INTEGER NOT NULL -- CRC-32 of the row but for latest_utc_us and ended_utc_us
);

-- A further reading of both clocks, where the wall clock has departed from the sitting's anchor by more than 0.1 s.
CREATE TABLE clock (
    id INTEGER PRIMARY KEY,
    sitting INTEGER NOT NULL REFERENCES sitting (id),
    monotonic_ns INTEGER NOT NULL, -- the monotonic clock
    utc_us INTEGER NOT NULL -- the wall clock at the same moment
);

-- Each version of the instrument file that was worked with; the newest counts.
CREATE TABLE instrument (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    sitting INTEGER NOT NULL REFERENCES sitting (id),
    utc_us INTEGER NOT NULL, -- when it was first seen
    text TEXT NOT NULL, -- the file as it was, TOML
    sha256 TEXT NOT NULL -- of the text as UTF-8, hexadecimal
);

-- Each gauge as it was named and described; another datasheet text, address or identity makes a new row.
CREATE TABLE gauge (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    utc_us INTEGER NOT NULL, -- when it was first seen so
    name TEXT NOT NULL, -- its short name
    datasheet TEXT NOT NULL, -- the datasheet's name
    datasheet_text TEXT NOT NULL, -- the datasheet as it was, TOML
    address TEXT NOT NULL, -- where it was reached
    identity TEXT NOT NULL, -- serial number, or whatever tells it from another of its kind
    quantity TEXT NOT NULL, -- angle, length, temperature or humidity
    resolution_base REAL NOT NULL, -- worth of the last digit
    accuracy_base REAL, -- the maker's limit of error, NULL where not stated
    sends TEXT NOT NULL, -- when it sends: steadily, on change, on its button, when asked, when typed
    rate_hz REAL, -- readings a second, where stated
    awake_s REAL, -- seconds after which it switches itself off, where stated
    checksum INTEGER NOT NULL -- CRC-32 of the row
);

-- Checks of a gauge, such as a reversal on a flat; kept beside what they say about.
CREATE TABLE gauge_check (
    id INTEGER PRIMARY KEY,
    gauge INTEGER NOT NULL REFERENCES gauge (id),
    kind TEXT NOT NULL, -- which check
    utc_us INTEGER NOT NULL, -- when it was made
    result TEXT NOT NULL, -- what came of it, JSON
    checksum INTEGER NOT NULL -- CRC-32 of the row
);

-- All placements of one stage, taken in one go or several; the last complete one of a stage counts.
CREATE TABLE snapshot (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    stage TEXT NOT NULL, -- before, wet, after, spot, or a name of the builder's
    number INTEGER NOT NULL, -- counted from 1 within the stage
    begun_utc_us INTEGER NOT NULL,
    complete_utc_us INTEGER, -- NULL until nothing is missing
    placements INTEGER NOT NULL DEFAULT 0, -- how many placements it has, dropped ones included
    checksum INTEGER NOT NULL, -- CRC-32 of the row
    UNIQUE (stage, number)
);

-- One setting-down of a gauge, or one typed value, at a checkpoint; never changed, only dropped or reinterpreted.
CREATE TABLE placement (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    snapshot INTEGER NOT NULL REFERENCES snapshot (id),
    sitting INTEGER NOT NULL REFERENCES sitting (id),
    checkpoint TEXT NOT NULL, -- the checkpoint's id in the instrument file
    quantity TEXT NOT NULL, -- angle, length, temperature or humidity
    value_base REAL, -- NULL where only a bound is known
    low_base REAL, -- lower end of a feeler pair, or a bound
    high_base REAL, -- upper end of a feeler pair, or a bound
    text TEXT NOT NULL, -- the number as shown or typed
    unit TEXT NOT NULL, -- the unit of the text
    resolution_base REAL NOT NULL, -- step of one reading
    spread_base REAL, -- largest less smallest reading while it rested; NULL where typed
    settled TEXT NOT NULL, -- steady, on its button, by hand, typed, from a table
    gauge INTEGER REFERENCES gauge (id), -- NULL where typed
    utc_us INTEGER NOT NULL, -- when it was taken
    monotonic_ns INTEGER NOT NULL, -- the same on the sitting's monotonic clock
    reinterpretations INTEGER NOT NULL DEFAULT 0, -- how often its bytes were read again
    dropped_reason TEXT, -- why it no longer counts; NULL while it does
    checksum INTEGER NOT NULL -- CRC-32 of the row with its parts and their bytes
);

-- One reading of a gauge within a placement: neck, body, or the whole of it.
CREATE TABLE part (
    id INTEGER PRIMARY KEY,
    placement INTEGER NOT NULL REFERENCES placement (id),
    reinterpretation INTEGER REFERENCES reinterpretation (id), -- NULL for the part as it was first read
    role TEXT NOT NULL, -- whole, body or neck
    gauge INTEGER NOT NULL REFERENCES gauge (id),
    value_base REAL NOT NULL, -- median of the steady window
    text TEXT NOT NULL, -- the number as shown
    unit TEXT NOT NULL, -- the unit of the text
    resolution_base REAL NOT NULL, -- worth of the last digit
    spread_base REAL NOT NULL, -- largest less smallest in the window
    n INTEGER NOT NULL, -- readings in the window
    start_monotonic_ns INTEGER NOT NULL, -- the window's start
    end_monotonic_ns INTEGER NOT NULL -- the window's end
);

-- The bytes that a part was read from, chunk by chunk as they came.
CREATE TABLE raw (
    id INTEGER PRIMARY KEY,
    part INTEGER NOT NULL REFERENCES part (id),
    monotonic_ns INTEGER NOT NULL, -- when the chunk came
    bytes BLOB NOT NULL -- empty for a tick: time went on, nothing came
);

-- A placement's bytes read again through a corrected datasheet; the newest counts, the first values stay.
CREATE TABLE reinterpretation (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    placement INTEGER NOT NULL REFERENCES placement (id),
    number INTEGER NOT NULL, -- counted from 1 within the placement
    utc_us INTEGER NOT NULL, -- when it was read again
    value_base REAL, -- as placement.value_base
    low_base REAL, -- as placement.low_base
    high_base REAL, -- as placement.high_base
    text TEXT NOT NULL, -- as placement.text
    unit TEXT NOT NULL, -- as placement.unit
    resolution_base REAL NOT NULL, -- as placement.resolution_base
    spread_base REAL, -- as placement.spread_base
    datasheets TEXT NOT NULL, -- texts of the datasheets used, JSON: short name of the gauge to TOML
    checksum INTEGER NOT NULL, -- CRC-32 of the row with its parts
    UNIQUE (placement, number)
);

-- A checkpoint left out of a snapshot.
CREATE TABLE skip (
    snapshot INTEGER NOT NULL REFERENCES snapshot (id),
    checkpoint TEXT NOT NULL, -- the checkpoint's id
    reason TEXT NOT NULL, -- as the builder gave it
    PRIMARY KEY (snapshot, checkpoint)
);

-- A moment of the clamp session.
CREATE TABLE mark (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    sitting INTEGER NOT NULL REFERENCES sitting (id),
    kind TEXT NOT NULL, -- glue on, clamps on, clamps off, note
    utc_us INTEGER NOT NULL, -- the moment that is marked
    set_utc_us INTEGER NOT NULL, -- the moment at which it was set, which may be later
    words TEXT NOT NULL, -- the builder's words, often none
    checksum INTEGER NOT NULL -- CRC-32 of the row
);

-- Something that happened: a link lost, a pass of the sanding block, a zero taken.
CREATE TABLE event (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    sitting INTEGER NOT NULL REFERENCES sitting (id),
    gauge INTEGER REFERENCES gauge (id), -- NULL where it concerns no gauge
    utc_us INTEGER NOT NULL,
    kind TEXT NOT NULL,
    words TEXT NOT NULL
);

-- A stretch of time in which a gauge said nothing that it should have said.
CREATE TABLE gap (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    sitting INTEGER NOT NULL REFERENCES sitting (id),
    gauge INTEGER NOT NULL REFERENCES gauge (id),
    start_utc_us INTEGER NOT NULL, -- the last reading before it
    end_utc_us INTEGER NOT NULL, -- the first reading after it
    reason TEXT NOT NULL,
    fault INTEGER NOT NULL -- 1 for a fault, 0 where the gauge merely slept
);

-- How many readings each gauge gave in each sitting: what the blocks must add up to.
CREATE TABLE tally (
    sitting INTEGER NOT NULL REFERENCES sitting (id),
    gauge INTEGER NOT NULL REFERENCES gauge (id),
    readings INTEGER NOT NULL,
    PRIMARY KEY (sitting, gauge)
);

-- How many times bytes of a gauge did not become a reading, by reason.
CREATE TABLE reject (
    sitting INTEGER NOT NULL REFERENCES sitting (id),
    gauge INTEGER NOT NULL REFERENCES gauge (id),
    reason TEXT NOT NULL,
    count INTEGER NOT NULL,
    PRIMARY KEY (sitting, gauge, reason)
);

-- The bytes of the first 1000 rejects of a gauge in a sitting.
CREATE TABLE reject_raw (
    id INTEGER PRIMARY KEY,
    sitting INTEGER NOT NULL REFERENCES sitting (id),
    gauge INTEGER NOT NULL REFERENCES gauge (id),
    utc_us INTEGER NOT NULL, -- when they came
    reason TEXT NOT NULL,
    detail TEXT NOT NULL,
    bytes BLOB NOT NULL
);

-- The stream of readings: a small block a second and gauge, merged about every ten minutes into one large block.
CREATE TABLE block (
    id INTEGER PRIMARY KEY,
    sitting INTEGER NOT NULL REFERENCES sitting (id),
    gauge INTEGER NOT NULL REFERENCES gauge (id),
    n INTEGER NOT NULL, -- readings in it
    t_min_utc_us INTEGER NOT NULL, -- earliest reading
    t_max_utc_us INTEGER NOT NULL, -- latest reading
    v_min_base REAL NOT NULL, -- smallest value
    v_max_base REAL NOT NULL, -- largest value
    data_crc32 INTEGER NOT NULL, -- CRC-32 of data
    head_crc32 INTEGER NOT NULL, -- CRC-32 of the columns from sitting to data_crc32
    data BLOB NOT NULL -- as gaugelog.store.blocks encodes it
);

CREATE INDEX placement_by_snapshot ON placement (snapshot);
CREATE INDEX part_by_placement ON part (placement);
CREATE INDEX raw_by_part ON raw (part);
