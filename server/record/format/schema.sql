-- A Turnstone recording: one SQLite file per recording, readable without Turnstone.
--
--   sqlite3 2026-05-17T143205Z-sanderling.sqlite
--   SELECT utc, altitude_m FROM sanderling_estimate_vertical_utc WHERE t_s BETWEEN 10 AND 20;
--
-- Times named *_ns are signed 64-bit nanoseconds. t_ns and t_rx_ns are station time: steady, set equal to UTC when the
-- server started and not stepped afterwards. utc_rx_ns is the system's UTC. onboard_ns is the vehicle's clock since its boot.
-- Values are engineering units, IEEE 754 double; NULL is "no value" (a NaN in the pipeline). Negative zero is stored as zero.
--
-- Below the fixed tables, each row of `series` has three names of its own, made when the recording begins:
--   <sql_name>         id, t_ns, t_rx_ns, frame, then a column per channel; id counts rows in the order they were made,
--                      frame is frame.id of the packet the row came from (NULL: an estimate or a link's statistics)
--   <sql_name>_utc     the same rows with readable times: utc (text), t_s (seconds since the recording's start)
--   rollup_<sql_name>  minimum, maximum, sum and count per bin of time, for drawing; derived, and may be deleted
--
-- WAL journal while the recording is live; a cleanly closed recording is one file in DELETE mode.
--
-- What the choices cost (24 REAL columns a row, a commit each 100 ms, 2 cores; tools/benchmarks/bench_record.cpp measures them):
--   synchronous=FULL    one fsync a commit: 0.2 ms typical, 4 ms in the worst hundredth, a tenth of the greatest row rate; a
--                       pulled plug and a killed process lose at most the commit interval and the commit under way. Default.
--   synchronous=NORMAL  no fsync a commit; a killed process loses the same, a pulled plug everything since the last
--                       checkpoint (4 MB of writing). Neither leaves a file that does not open.
--   interval 100 ms     10 commits a second, each writing every page it changed once, however many rows went into the page.
--                       Halving it up to doubles the writing and halves the loss.
--   index on t_ns       a sixth of the writer's time; any window is found at once, in this program and in plain SQL.
--   rollups             a twelfth of the writer's time and a fifth of the file; any window draws from a few thousand rows.

PRAGMA application_id = 1414680147;  -- 0x54524E53, "TRNS"
PRAGMA user_version = 2;             -- of this layout; 1 had no series_column.title, no event.event and no word

-- Facts about the recording: name, notes (the operator's); version (of the Turnstone that wrote it); t_start_ns,
-- utc_start_ns; t_end_ns and ended ('clean', 'repaired' after a kill, 'snapshot' of a live one) once closed; continues (id of
-- the recording whose file was lost under the recorder); inputs_dropped, bytes_dropped and rows_dropped (what did not reach
-- the file, 0 when absent); derived_inputs, derived_t_ns: frames, rows and events are those that follow from the first
-- derived_inputs inputs and the ticks up to derived_t_ns.
CREATE TABLE meta (
  key   TEXT PRIMARY KEY,
  value TEXT NOT NULL
) WITHOUT ROWID;

-- The files that say what the bytes mean, exactly as they were read.
CREATE TABLE vehicle (
  id              INTEGER PRIMARY KEY,  -- from 0, as in series.vehicle, link.vehicle and event.vehicle
  name            TEXT NOT NULL,
  dictionary_json TEXT NOT NULL,
  vehicle_json    TEXT NOT NULL
);
CREATE TABLE site (
  site_json TEXT NOT NULL
);
CREATE TABLE link (
  id      INTEGER PRIMARY KEY,          -- from 0
  name    TEXT NOT NULL,
  uri     TEXT NOT NULL,
  vehicle INTEGER NOT NULL REFERENCES vehicle
);

-- The wide tables.
CREATE TABLE series (
  id           INTEGER PRIMARY KEY,     -- from 0
  name         TEXT NOT NULL,           -- "sanderling/imu", "sanderling/estimate/vertical", "link/radio"
  sql_name     TEXT NOT NULL UNIQUE,
  title        TEXT NOT NULL,
  kind         TEXT NOT NULL,           -- packet, batch, estimate or link
  vehicle      INTEGER REFERENCES vehicle,
  period_s     REAL NOT NULL,           -- expected between rows; 0: sporadic
  rollup_shift INTEGER NOT NULL,        -- finest bins are 2^rollup_shift ns wide
  rollup_levels INTEGER NOT NULL        -- bins of level k are 4^k times as wide
);
CREATE TABLE series_column (
  series       INTEGER NOT NULL REFERENCES series,
  place        INTEGER NOT NULL,        -- numbers first, texts after them
  name         TEXT NOT NULL,
  sql_name     TEXT NOT NULL,
  title        TEXT NOT NULL,           -- a few words for a heading
  is_text      INTEGER NOT NULL,
  unit         TEXT NOT NULL,           -- UCUM; "1" when dimensionless
  description  TEXT NOT NULL,           -- what the title leaves out
  display_group TEXT NOT NULL,
  decimals     INTEGER NOT NULL,
  valid_min    REAL,
  valid_max    REAL,
  enumeration  TEXT NOT NULL,           -- JSON object, value to word; "{}" for a plain number
  role         TEXT,                    -- what estimators take it for, in the dictionary's word; NULL: nothing
  sigma_column TEXT NOT NULL,           -- column of the same table with its 1-sigma; empty: none
  low_column   TEXT NOT NULL,           -- columns of the same table between which the value lies with 90 %; empty: none
  high_column  TEXT NOT NULL,
  strip_title  TEXT NOT NULL,           -- of the strip it is drawn on with other columns; empty: one of its own
  strip_line   TEXT NOT NULL,           -- what tells it from the others there: "east"
  PRIMARY KEY (series, place)
) WITHOUT ROWID;

-- Inputs: bytes as links delivered them, good or bad, and actions: the operator's, link states, an engine's hours
-- before this recording. `input` orders both. Everything else in this file can be made again from these and the files above (turnstone
-- reprocess).
CREATE TABLE chunk (
  input         INTEGER PRIMARY KEY,
  link          INTEGER NOT NULL REFERENCES link,
  t_rx_ns       INTEGER NOT NULL,
  utc_rx_ns     INTEGER NOT NULL,
  stream_offset INTEGER NOT NULL,       -- of the first byte, counted from the link's first byte in this recording
  carried       INTEGER NOT NULL,       -- 1: repeated from the recording before: the start of a frame that ends in this one
  bytes         BLOB NOT NULL
);
CREATE INDEX chunk_stream ON chunk (link, stream_offset);
CREATE TABLE action (
  input INTEGER PRIMARY KEY,
  t_ns  INTEGER NOT NULL,
  json  TEXT NOT NULL
);

-- The words for numbers that tables below hold, filled by the program that wrote the file.
CREATE TABLE word (
  enumeration TEXT NOT NULL,            -- the column the numbers are in
  value       INTEGER NOT NULL,
  word        TEXT NOT NULL,
  PRIMARY KEY (enumeration, value)
) WITHOUT ROWID;

-- What each delimiter closed. The bytes are those of chunk at (link, stream_offset), link_octets of them.
CREATE TABLE frame (
  id             INTEGER PRIMARY KEY,   -- from 1
  link           INTEGER NOT NULL REFERENCES link,
  t_rx_ns        INTEGER NOT NULL,
  stream_offset  INTEGER NOT NULL,
  link_octets    INTEGER NOT NULL,
  frame_verdict  INTEGER NOT NULL,      -- this and the next two: see word, and frame_utc
  decode_verdict INTEGER NOT NULL,
  packet_verdict INTEGER NOT NULL,
  apid           INTEGER,               -- NULL: unknown
  sequence_count INTEGER,
  onboard_ns     INTEGER,
  boot           INTEGER NOT NULL       -- boots seen before this packet, from 0
);

CREATE TABLE event (
  id         INTEGER PRIMARY KEY,       -- from 1, in the order they were found
  event      TEXT,                      -- what happened, in one word: liftoff, link_down, ...
  t_ns       INTEGER NOT NULL,          -- when it happened
  t_found_ns INTEGER NOT NULL,
  t_sigma_s  REAL,                      -- 1-sigma of t_ns; 0: exact
  kind       TEXT NOT NULL,
  level      TEXT NOT NULL,             -- note, advisory, caution, warning
  vehicle    INTEGER REFERENCES vehicle,
  key        TEXT NOT NULL,
  text       TEXT NOT NULL,
  data_json  TEXT NOT NULL
);
CREATE INDEX event_time ON event (t_ns);

-- Rollup tables have one layout:
--   key   (levels - 1 - level) * 2^52 + 2^51 + floor(t_ns / (4^level * 2^rollup_shift)); the finest level, which most
--         rows belong to, has the greatest keys, so that its rows are appended at the table's end
--   rows  rows in the bin
--   data  little-endian, for the m number columns in order: count u32[m], min f64[m], max f64[m], sum f64[m]; the count
--         leaves out rows whose value is NULL, and where it is 0 the other three mean nothing
-- While a recording is live, the newest bin of each level is not stored; rows from its start on are found in the wide table.

-- Readable times and words.
CREATE VIEW start AS
  SELECT CAST((SELECT value FROM meta WHERE key = 't_start_ns') AS INTEGER) AS t_ns;
CREATE VIEW chunk_utc AS
  SELECT input, strftime('%Y-%m-%dT%H:%M:%S', utc_rx_ns / 1000000000, 'unixepoch')
         || printf('.%09dZ', utc_rx_ns % 1000000000) AS utc,
         (t_rx_ns - (SELECT t_ns FROM start)) / 1e9 AS t_s,
         (SELECT name FROM link WHERE link.id = chunk.link) AS link, stream_offset, length(bytes) AS octets, hex(bytes) AS hex
  FROM chunk;
CREATE VIEW frame_utc AS
  SELECT id, strftime('%Y-%m-%dT%H:%M:%S', t_rx_ns / 1000000000, 'unixepoch')
         || printf('.%09dZ', t_rx_ns % 1000000000) AS utc,
         (t_rx_ns - (SELECT t_ns FROM start)) / 1e9 AS t_s,
         (SELECT name FROM link WHERE link.id = frame.link) AS link, stream_offset, link_octets,
         (SELECT word FROM word WHERE enumeration = 'frame_verdict' AND value = frame.frame_verdict) AS frame_verdict,
         (SELECT word FROM word WHERE enumeration = 'decode_verdict' AND value = frame.decode_verdict) AS decode_verdict,
         (SELECT word FROM word WHERE enumeration = 'packet_verdict' AND value = frame.packet_verdict) AS packet_verdict,
         apid, sequence_count, onboard_ns / 1e9 AS onboard_s, boot
  FROM frame;
CREATE VIEW event_utc AS
  SELECT id, strftime('%Y-%m-%dT%H:%M:%S', t_ns / 1000000000, 'unixepoch')
         || printf('.%09dZ', t_ns % 1000000000) AS utc,
         (t_ns - (SELECT t_ns FROM start)) / 1e9 AS t_s, kind, level, key, text
  FROM event ORDER BY t_ns;
