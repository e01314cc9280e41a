-- A Turnstone recording: one SQLite file per recording, readable without Turnstone.
--
--   sqlite3 2026-05-17T143205Z-sanderling.sqlite
--   SELECT utc, altitude_m FROM sanderling_estimate_vertical WHERE t_s BETWEEN 10 AND 20;
--
-- People read views: one for each row of `series`, named by its sql_name, and those at the end of this file. They give
-- engineering units, words, `utc` (text) and `t_s` (seconds since the recording's start). NULL is "no value" (a NaN in the
-- pipeline). server/record/SQL.md has examples.
--
-- Programs read tables. Times there, named *_ns, are whole nanoseconds; all but onboard_ns (the vehicle's clock since its
-- boot) and delay_ns are counted from the recording's start, meta t_start_ns, which is station time: steady, set equal to UTC
-- when the server started and not stepped afterwards.
--
-- A series has up to three things of its own, made with its first row; one without rows has none:
--   <sql_name>         view of its rows: id, utc, t_s, frame, then a column per channel
--   stored_<sql_name>  its rows: id (from 1, in the order they were made), t_ns, delay_ns (from t_ns to when the row was
--                      received or computed; NULL: received with its frame), frame (frame.id of the packet the row came
--                      from; NULL: an estimate or a link's statistics), then a cell per channel: see series_column
--   rollup_<sql_name>  minimum, maximum, sum and count per bin of time, for drawing; derived, and may be deleted
--
-- There is no index on time: rows are in the order of time but for series.slack_ns and the few in late_row, so that bisection
-- over id finds a time.
--
-- WAL journal while the recording is live; a cleanly closed recording is one file in DELETE mode. What the choices cost, in
-- bytes of file and bytes written to the disk, stands in tools/benchmarks/RECORDING.md.
--
-- Synchronous=FULL (the default): one fsync a commit; a pulled plug and a killed process lose at most the commit interval and
-- the commit under way. NORMAL: no fsync; a killed process loses the same, a pulled plug everything since the last checkpoint.

PRAGMA application_id = 1414680147;  -- 0x54524E53, "TRNS"
PRAGMA user_version = 2;             -- of this layout; 1 had absolute times, REAL cells and indexes on time

-- Facts about the recording: name, notes, archived ('1': put away) (the operator's); version (of the Turnstone that wrote it); t_start_ns,
-- utc_start_ns; t_end_ns and ended ('clean', 'repaired' after a kill, 'snapshot' of a live one) once closed, all three absolute;
-- continues (id of the recording whose file was lost under the recorder); merged_from, log_file and log_alignment (of one that
-- an on-board log was imported into); merged_from, merged_station and station_alignment (of one that another station's was joined
-- with); inputs_dropped, bytes_dropped and rows_dropped (what
-- did not reach the file, 0 when absent); derived_inputs, derived_t_ns (absolute): frames, rows and events are those that
-- follow from the first derived_inputs inputs and the ticks up to derived_t_ns.
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
-- Other files of a vehicle's folder; missing in files written before there were any.
CREATE TABLE vehicle_file (
  vehicle INTEGER NOT NULL REFERENCES vehicle,
  name    TEXT NOT NULL,                -- within the folder: "readiness.json", "procedures/bench-check.json"
  text    TEXT NOT NULL,
  PRIMARY KEY (vehicle, name)
) WITHOUT ROWID;
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
  sql_name     TEXT NOT NULL,           -- unique
  title        TEXT NOT NULL,
  kind         TEXT NOT NULL,           -- packet, batch, estimate or link
  vehicle      INTEGER REFERENCES vehicle,
  period_s     REAL NOT NULL,           -- expected between rows; 0: sporadic
  rollup_shift INTEGER NOT NULL,        -- finest bins are 2^rollup_shift ns wide
  rollup_levels INTEGER NOT NULL,       -- bins of level k are 4^k times as wide
  slack_ns     INTEGER NOT NULL         -- but for late_row, no row's t_ns is more than this before that of a smaller id
);
-- A row for each column of each series; series whose columns are alike, as those of two vehicles with one dictionary are, have
-- them from one of them.
CREATE VIEW series_column AS
  SELECT series.id AS series, place, own_column.name, ifnull(own_column.sql_name, own_column.name) AS sql_name, own_column.title,
         is_text, unit, description, display_group, decimals, valid_min, valid_max, enumeration, limits, role, sigma_column,
         low_column, high_column, strip_title, strip_line, zero, step, rounded
  FROM series LEFT JOIN shared_columns ON shared_columns.series = series.id
         JOIN own_column ON own_column.series = ifnull(shared_columns.columns_of, series.id);
CREATE TABLE shared_columns (
  series       INTEGER PRIMARY KEY REFERENCES series,
  columns_of   INTEGER NOT NULL REFERENCES series
);
CREATE TABLE own_column (
  series       INTEGER NOT NULL REFERENCES series,
  place        INTEGER NOT NULL,        -- numbers first, texts after them
  name         TEXT NOT NULL,
  sql_name     TEXT,                    -- NULL: as name
  title        TEXT NOT NULL,           -- a few words for a heading
  is_text      INTEGER NOT NULL,
  unit         TEXT NOT NULL,           -- UCUM; "1" when dimensionless
  description  TEXT NOT NULL,           -- what the title leaves out
  display_group TEXT NOT NULL,
  decimals     INTEGER NOT NULL,
  valid_min    REAL,
  valid_max    REAL,
  enumeration  TEXT NOT NULL,           -- JSON object, value to word; "{}" for a plain number
  limits       TEXT NOT NULL,           -- drawn beside the values: JSON, [["low", "caution", 7.2], ...]
  role         TEXT,                    -- what estimators take it for, in the dictionary's word; NULL: nothing
  sigma_column TEXT NOT NULL,           -- column of the same table with its 1-sigma; empty: none
  low_column   TEXT NOT NULL,           -- columns of the same table between which the value lies with 90 %; empty: none
  high_column  TEXT NOT NULL,
  strip_title  TEXT NOT NULL,           -- of the strip it is drawn on with other columns; empty: one of its own
  strip_line   TEXT NOT NULL,           -- what tells it from the others there: "east"
  zero         REAL NOT NULL,           -- a cell that is an INTEGER means zero + step * cell; one that is a REAL, itself
  step         REAL NOT NULL,
  rounded      INTEGER NOT NULL,        -- 1: to the nearest step; 0: cells give back the very value that was decoded
  PRIMARY KEY (series, place)
) WITHOUT ROWID;

-- Rows that came more than a second out of order.
CREATE TABLE late_row (
  series INTEGER NOT NULL REFERENCES series,
  id     INTEGER NOT NULL,
  t_ns   INTEGER NOT NULL,              -- as in the row
  PRIMARY KEY (series, id)
) WITHOUT ROWID;

-- Inputs: bytes as links delivered them, good or bad, and actions: the operator's, link states, an engine's hours
-- before this recording. `input` orders both. Everything else in this file can be made again from these and the files above
-- (turnstone reprocess).
CREATE TABLE chunk (
  input         INTEGER PRIMARY KEY,
  link          INTEGER NOT NULL REFERENCES link,
  t_rx_ns       INTEGER NOT NULL,       -- never less than that of the chunk before
  utc_offset_ns INTEGER NOT NULL,       -- the system's UTC at the read minus station time
  stream_offset INTEGER NOT NULL,       -- of the first byte, counted from the link's first byte in this recording
  carried       INTEGER NOT NULL,       -- 1: repeated from the recording before, whose estimates go on in this one
  bytes         BLOB NOT NULL
);
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

-- What each delimiter closed. The bytes are those of the link's chunks from stream_offset on, link_octets of them; the last is
-- in the chunk received at t_rx_ns. A frame with the verdict combined has none of its own: it was made when the damaged frame before
-- it came, of that one and its copies on other links.
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
  advice     TEXT NOT NULL,             -- of an alert that is raised: what to do; else empty
  data_json  TEXT NOT NULL
);

-- Rollup tables have one layout:
--   key   (levels - 1 - level) * 2^52 + 2^51 + floor(station time / (4^level * 2^rollup_shift)); the finest level, which most
--         rows belong to, has the greatest keys, so that its rows are appended at the table's end
--   rows  rows in the bin
--   data  for each number column in order 4 * (rows without a value) + content, and what follows from it. Integers are LEB128,
--         signed ones with the sign in the lowest bit (zigzag); doubles little-endian. Content:
--           0  no row has a value
--           1  all values are the same cell: that cell, signed
--           2  all cells are whole steps: least cell, signed; greatest minus least; sum of the cells minus count times the
--              least
--           3  anything else: least, greatest and sum of the values as f64
-- The newest bins of each level are not stored; rows from their start on are found in the next finer level, in the end among
-- the rows themselves.

-- Readable times and words.
CREATE VIEW start AS
  SELECT CAST((SELECT value FROM meta WHERE key = 't_start_ns') AS INTEGER) AS t_ns;
CREATE VIEW chunk_utc AS
  SELECT input, strftime('%Y-%m-%dT%H:%M:%S', (start.t_ns + t_rx_ns + utc_offset_ns) / 1000000000, 'unixepoch')
         || printf('.%09dZ', (start.t_ns + t_rx_ns + utc_offset_ns) % 1000000000) AS utc, t_rx_ns / 1e9 AS t_s,
         (SELECT name FROM link WHERE link.id = chunk.link) AS link, stream_offset, length(bytes) AS octets, hex(bytes) AS hex
  FROM chunk, start;
CREATE VIEW frame_utc AS
  SELECT id, strftime('%Y-%m-%dT%H:%M:%S', (start.t_ns + t_rx_ns) / 1000000000, 'unixepoch')
         || printf('.%09dZ', (start.t_ns + t_rx_ns) % 1000000000) AS utc, t_rx_ns / 1e9 AS t_s,
         (SELECT name FROM link WHERE link.id = frame.link) AS link, stream_offset, link_octets,
         (SELECT word FROM word WHERE enumeration = 'frame_verdict' AND value = frame.frame_verdict) AS frame_verdict,
         (SELECT word FROM word WHERE enumeration = 'decode_verdict' AND value = frame.decode_verdict) AS decode_verdict,
         (SELECT word FROM word WHERE enumeration = 'packet_verdict' AND value = frame.packet_verdict) AS packet_verdict,
         apid, sequence_count, onboard_ns / 1e9 AS onboard_s, boot
  FROM frame, start;
CREATE VIEW event_utc AS
  SELECT id, strftime('%Y-%m-%dT%H:%M:%S', (start.t_ns + event.t_ns) / 1000000000, 'unixepoch')
         || printf('.%09dZ', (start.t_ns + event.t_ns) % 1000000000) AS utc, event.t_ns / 1e9 AS t_s, kind, level, key, text
  FROM event, start ORDER BY event.t_ns;

-- The recording in one row.
CREATE VIEW recording AS
  SELECT (SELECT value FROM meta WHERE key = 'name') AS name, (SELECT value FROM meta WHERE key = 'notes') AS notes,
         (SELECT group_concat(name, ', ') FROM vehicle) AS vehicles, (SELECT json_extract(site_json, '$.name') FROM site) AS site,
         strftime('%Y-%m-%dT%H:%M:%SZ', (SELECT value FROM meta WHERE key = 'utc_start_ns') / 1000000000, 'unixepoch') AS utc_start,
         ((SELECT value FROM meta WHERE key = 't_end_ns') - start.t_ns) / 1e9 AS duration_s,
         (SELECT value FROM meta WHERE key = 'ended') AS ended, (SELECT value FROM meta WHERE key = 'version') AS turnstone
  FROM start;
-- What is in the views of the series: a row for each column.
CREATE VIEW channels AS
  SELECT series.sql_name AS view_name, series_column.sql_name AS column_name, series_column.title, unit, description,
         nullif(sigma_column, '') AS sigma_column, series.kind, (SELECT name FROM vehicle WHERE id = series.vehicle) AS vehicle
  FROM series JOIN series_column ON series_column.series = series.id ORDER BY series.id, place;
-- Events of flights, with the number of the chapter that each is in (STREAM.md says what a chapter is).
CREATE VIEW flight_events AS
  SELECT id, (SELECT name FROM vehicle WHERE vehicle.id = event.vehicle) AS vehicle,
         (SELECT count(*) FROM event AS ready WHERE ready.event = 'ready_again' AND ready.vehicle = event.vehicle
            AND (ready.t_ns, ready.id) <= (event.t_ns, event.id)) + 1 AS number,
         event, t_ns, t_ns / 1e9 AS t_s, t_sigma_s, text, data_json
  FROM event WHERE kind IN ('phase', 'flight_event') AND vehicle IS NOT NULL ORDER BY t_ns, id;
-- A row for each flight; times in seconds from liftoff.
CREATE VIEW flights AS
  WITH happened AS MATERIALIZED (SELECT * FROM flight_events), left_rail AS (
    SELECT vehicle, number, max(t_ns) AS t_ns FROM happened WHERE event = 'liftoff' AND NOT EXISTS (
      SELECT 1 FROM happened AS taken WHERE taken.event = 'false_liftoff' AND taken.vehicle = happened.vehicle
        AND taken.number = happened.number AND (taken.t_ns, taken.id) > (happened.t_ns, happened.id))
    GROUP BY vehicle, number)
  SELECT left_rail.vehicle, left_rail.number,
         (SELECT json_extract(data_json, '$.name') FROM happened WHERE event = 'flight_named'
            AND happened.vehicle = left_rail.vehicle AND happened.number = left_rail.number ORDER BY t_ns DESC, id DESC LIMIT 1)
           AS name,
         strftime('%Y-%m-%dT%H:%M:%S', (start.t_ns + left_rail.t_ns) / 1000000000, 'unixepoch')
           || printf('.%09dZ', (start.t_ns + left_rail.t_ns) % 1000000000) AS utc_liftoff,
         left_rail.t_ns / 1e9 AS liftoff_t_s,
         max((happened.t_ns - left_rail.t_ns) / 1e9) FILTER (WHERE event = 'burnout') AS burnout_s,
         max((happened.t_ns - left_rail.t_ns) / 1e9) FILTER (WHERE event = 'apogee') AS apogee_s,
         max((happened.t_ns - left_rail.t_ns) / 1e9) FILTER (WHERE event = 'drogue_out') AS drogue_out_s,
         max((happened.t_ns - left_rail.t_ns) / 1e9) FILTER (WHERE event = 'main_out') AS main_out_s,
         max((happened.t_ns - left_rail.t_ns) / 1e9) FILTER (WHERE event = 'touchdown') AS touchdown_s
  FROM left_rail JOIN happened ON happened.vehicle = left_rail.vehicle AND happened.number = left_rail.number
         AND happened.t_ns >= left_rail.t_ns, start
  GROUP BY left_rail.vehicle, left_rail.number ORDER BY left_rail.t_ns;
-- Markers and notes as they stand: the newest text of each, without those that were taken back.
CREATE VIEW marks AS
  SELECT t_ns / 1e9 AS t_s, kind, json_extract(data_json, '$.text') AS text, key FROM event
  WHERE kind IN ('marker', 'note') AND id IN (SELECT max(id) FROM event WHERE kind IN ('marker', 'note') GROUP BY key)
    AND json_extract(data_json, '$.taken_back') IS NULL ORDER BY t_ns;
-- Each time that an alert was raised, and when it was over.
CREATE VIEW alerts AS
  SELECT raised.t_ns / 1e9 AS t_s, (SELECT min(t_ns) FROM event AS over WHERE over.kind = 'alert_cleared' AND over.key = raised.key
           AND over.id > raised.id) / 1e9 AS over_t_s, level, text, advice, key
  FROM event AS raised WHERE kind = 'alert_raised' ORDER BY raised.t_ns;
