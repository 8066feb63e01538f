-- History of surveys, version 1. Times are seconds since 1970-01-01 UTC. Order
-- in time is the order of run ids: a clock that was wrong disorders nothing.

CREATE TABLE run (
  id             INTEGER PRIMARY KEY,
  kind           TEXT    NOT NULL,             -- what made it: nightly, lab
  started        INTEGER NOT NULL,
  finished       INTEGER NOT NULL,
  tool_version   TEXT    NOT NULL,
  partial_reason TEXT,                         -- NULL: the survey was whole
  addresses      INTEGER NOT NULL,             -- in scope
  probed         INTEGER NOT NULL,
  hosts          INTEGER NOT NULL,             -- that gave any answer
  answered       INTEGER NOT NULL,             -- devices that were read
  missed         INTEGER NOT NULL,             -- known devices that gave no answer
  reported       INTEGER                       -- when its report was complete; NULL: never
) STRICT;

CREATE TABLE device (
  id            INTEGER PRIMARY KEY,
  key           TEXT    NOT NULL UNIQUE,       -- the first strong alias ever seen
  site          TEXT,
  name          TEXT,
  location      TEXT,
  make_model    TEXT,
  serial        TEXT,
  hostname      TEXT,
  technology    TEXT,                          -- PrtMarkerMarkTechTC label
  addresses     TEXT    NOT NULL,              -- of the last answer, separated by spaces
  sole          INTEGER NOT NULL,
  first_run     INTEGER REFERENCES run(id),    -- of the first answer kept; NULL: none
  last_run      INTEGER REFERENCES run(id),    -- of the last answer; NULL: never answered
  first_seen    INTEGER,
  last_seen     INTEGER,
  misses        INTEGER NOT NULL DEFAULT 0,    -- runs in a row without an answer
  superseded_by INTEGER REFERENCES device(id) ON DELETE SET NULL -- known by address only, and another has that address now
) STRICT;

CREATE TABLE alias (
  alias      TEXT    PRIMARY KEY,              -- uuid:, serial:, mac:
  device     INTEGER NOT NULL REFERENCES device(id) ON DELETE CASCADE,
  first_seen INTEGER NOT NULL,
  last_seen  INTEGER NOT NULL
) STRICT, WITHOUT ROWID;
CREATE INDEX alias_device ON alias(device);

-- What a list of levels speaks of: a JSON array of objects.
CREATE TABLE layout (
  id     INTEGER PRIMARY KEY,
  device INTEGER NOT NULL REFERENCES device(id) ON DELETE CASCADE,
  slots  TEXT    NOT NULL,
  UNIQUE (device, slots)
) STRICT;

-- One row for each device and run in which it answered. levels is a JSON array
-- with one element for each slot: 1200 (known, of the slot's capacity, else of
-- 100), [1200,1500] (known, of 1500), "some-left" (not known, for that reason),
-- [300,"unknown"] (no percentage, but a number).
CREATE TABLE night (
  device      INTEGER NOT NULL REFERENCES device(id) ON DELETE CASCADE,
  run         INTEGER NOT NULL REFERENCES run(id),
  at          INTEGER NOT NULL,
  attention   TEXT    NOT NULL,
  life_count  INTEGER,
  life_unit   TEXT,
  life_source TEXT,
  uptime_s    INTEGER,
  addresses   TEXT    NOT NULL,
  snmp        INTEGER NOT NULL,                -- 1: it answered over SNMP
  ipp         INTEGER NOT NULL,
  round_trips INTEGER NOT NULL,
  layout      INTEGER NOT NULL REFERENCES layout(id),
  levels      TEXT    NOT NULL,
  PRIMARY KEY (device, run)
) STRICT, WITHOUT ROWID;
CREATE INDEX night_run ON night(run);
CREATE INDEX night_layout ON night(layout);

-- What is not charted: trays, outputs, finishers, further counters.
CREATE TABLE detail (
  device INTEGER NOT NULL,
  run    INTEGER NOT NULL,
  layout INTEGER NOT NULL REFERENCES layout(id),
  levels TEXT    NOT NULL,
  PRIMARY KEY (device, run),
  FOREIGN KEY (device, run) REFERENCES night(device, run) ON DELETE CASCADE
) STRICT, WITHOUT ROWID;
CREATE INDEX detail_layout ON detail(layout);

-- A known device that was asked and gave no answer. It is no reading.
CREATE TABLE miss (
  device INTEGER NOT NULL REFERENCES device(id) ON DELETE CASCADE,
  run    INTEGER NOT NULL REFERENCES run(id),
  at     INTEGER NOT NULL,
  PRIMARY KEY (device, run)
) STRICT, WITHOUT ROWID;
CREATE INDEX miss_run ON miss(run);

-- How long a finding held. A piece ends where it stops or begins to ask for
-- attention; first_seen is carried on, so that it is that of the condition.
CREATE TABLE finding (
  id          INTEGER PRIMARY KEY,
  device      INTEGER NOT NULL REFERENCES device(id) ON DELETE CASCADE,
  code        TEXT    NOT NULL,
  unit        TEXT    NOT NULL,                -- PrtAlertGroupTC label; empty: the device as a whole
  unit_index  INTEGER NOT NULL,
  unit_name   TEXT,
  asks        INTEGER NOT NULL,                -- 1: it asks for attention, 0: a note
  impact      TEXT    NOT NULL,
  summary     TEXT    NOT NULL,
  weight      REAL    NOT NULL,
  advice      TEXT    NOT NULL,                -- JSON, as in the survey
  sources     TEXT    NOT NULL,                -- of its evidence, separated by spaces
  first_seen  INTEGER NOT NULL,
  last_seen   INTEGER NOT NULL,
  cleared     INTEGER,                         -- NULL: it holds
  first_run   INTEGER NOT NULL REFERENCES run(id),
  last_run    INTEGER NOT NULL REFERENCES run(id),
  cleared_run INTEGER REFERENCES run(id)
) STRICT;
CREATE UNIQUE INDEX finding_open ON finding(device, code, unit, unit_index) WHERE cleared IS NULL;
CREATE INDEX finding_device ON finding(device, first_run);
CREATE INDEX finding_cleared ON finding(cleared_run) WHERE cleared IS NOT NULL;
CREATE INDEX finding_first ON finding(first_run);
CREATE INDEX finding_last ON finding(last_run);

-- How long a row stood in the device's own alert list.
CREATE TABLE alert (
  id          INTEGER PRIMARY KEY,
  device      INTEGER NOT NULL REFERENCES device(id) ON DELETE CASCADE,
  source      TEXT    NOT NULL,                -- snmp (prtAlertTable) or ipp (printer-alert)
  code        TEXT    NOT NULL,                -- PrtAlertCodeTC label
  severity    TEXT    NOT NULL,                -- PrtAlertSeverityLevelTC label
  unit        TEXT    NOT NULL,                -- PrtAlertGroupTC label
  unit_index  INTEGER NOT NULL,
  description TEXT,
  first_seen  INTEGER NOT NULL,
  last_seen   INTEGER NOT NULL,
  cleared     INTEGER,
  first_run   INTEGER NOT NULL REFERENCES run(id),
  last_run    INTEGER NOT NULL REFERENCES run(id),
  cleared_run INTEGER REFERENCES run(id)
) STRICT;
CREATE UNIQUE INDEX alert_open ON alert(device, source, code, unit, unit_index) WHERE cleared IS NULL;
CREATE INDEX alert_device ON alert(device, first_run);
CREATE INDEX alert_cleared ON alert(cleared_run) WHERE cleared IS NOT NULL;
CREATE INDEX alert_first ON alert(first_run);
CREATE INDEX alert_last ON alert(last_run);
