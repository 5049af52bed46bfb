CREATE INDEX bed_copy ON bed (cultivar, code COLLATE BINARY, block, x_m, y_m, length_m, width_m, plants, irrigation, site, more, gone);
CREATE INDEX calendar_entry_copy ON calendar_entry (sequence, uid, revised, status, entry);
CREATE INDEX change_added_change ON change_added (change_id, high);
CREATE INDEX change_set_about ON change_set (about, id) WHERE about IS NOT NULL;
CREATE INDEX change_set_copy ON change_set (actor, at, command, what, about);
CREATE INDEX change_step_copy ON change_step (reason, kind, item COLLATE BINARY, what, instead, was, became);
CREATE INDEX change_step_item ON change_step (kind, item);
CREATE INDEX done_copy ON done (note, bed_id, pest, action, date, entered_at, voided_at, void_reason, more);
CREATE UNIQUE INDEX done_live ON done (bed_id, date, pest, action) WHERE voided_at IS NULL;
CREATE INDEX enemy_count_copy ON enemy_count (count, enemy);
CREATE INDEX farm_copy ON farm (uid, name, place, country, time_zone, hardiness_zone, last_frost, first_frost, units, organic, scout_day, pests, area, waiting_cost, more);
CREATE INDEX label_copy ON label (entered_at, key COLLATE BINARY, version, entered, document, gone);
CREATE INDEX override_copy ON override (reason, pest, measure, level, value, since, entered_at, voided_at, void_reason);
CREATE INDEX planned_cover_copy ON planned_cover (note, bed_id, cover, sow, kill, entered_at, voided_at, void_reason);
CREATE UNIQUE INDEX planned_cover_live ON planned_cover (bed_id, sow, cover) WHERE voided_at IS NULL;
CREATE INDEX release_copy ON release (note, bed_id, agent, pest, date, amount, entered_at, voided_at, void_reason, more);
CREATE UNIQUE INDEX release_live ON release (bed_id, date, agent, pest, amount) WHERE voided_at IS NULL;
CREATE INDEX stage_event_copy ON stage_event (note, bed_id, date, stage, entered_at, voided_at, void_reason);
CREATE UNIQUE INDEX stage_event_live ON stage_event (bed_id, date, stage) WHERE voided_at IS NULL;
CREATE INDEX treatment_by_label ON treatment (label_key, date);
CREATE INDEX treatment_copy ON treatment (note, bed_id, part, label_key COLLATE BINARY, label_version, pest, date, start_at, end_at, end_known, amount, amount_unit,
  area_m2, who, reason, breaches, entered_at, voided_at, void_reason, more);
CREATE UNIQUE INDEX treatment_live ON treatment
  (bed_id, date, label_key, part, pest, end_at, ifnull(start_at, ''), ifnull(amount, -1), ifnull(amount_unit, ''))
  WHERE voided_at IS NULL;
CREATE INDEX visit_by_date ON visit (date, entered_at);
CREATE INDEX visit_copy ON visit (note, bed_id, pest, unit, stratum, infested, looked, damage_hurt, damage_looked, soil, foliage, air_c, soil_c, nights, disturbed,
  observer, voided_at, void_reason)
  WHERE infested IS NOT NULL OR damage_hurt IS NOT NULL OR soil <> '' OR foliage <> '' OR air_c IS NOT NULL OR soil_c IS NOT NULL OR nights <> 0 OR disturbed <> 0
     OR observer <> '' OR note <> '' OR voided_at IS NOT NULL;
CREATE UNIQUE INDEX visit_live ON visit (bed_id, pest, unit, stratum, date) WHERE voided_at IS NULL;
CREATE INDEX visit_voided ON visit (voided_at) WHERE voided_at IS NOT NULL;
CREATE INDEX weather_day_copy ON weather_day (source, date, min_c, max_c, rain_mm, soil_c, humidity_pct, forecast, entered_at, voided_at, void_reason);
CREATE UNIQUE INDEX weather_day_live ON weather_day (date) WHERE voided_at IS NULL;
CREATE TABLE bed (
  id         INTEGER PRIMARY KEY,
  code       TEXT NOT NULL UNIQUE COLLATE NOCASE CHECK (length(code) BETWEEN 1 AND 12),
  block      TEXT NOT NULL,
  x_m        REAL,
  y_m        REAL,
  length_m   REAL NOT NULL CHECK (length_m > 0 AND length_m <= 10000),
  width_m    REAL NOT NULL CHECK (width_m > 0 AND width_m <= 10000),
  plants     INTEGER NOT NULL CHECK (plants BETWEEN 0 AND 10000000),
  cultivar   TEXT NOT NULL,
  irrigation TEXT NOT NULL CHECK (irrigation IN ('', 'drip', 'overhead', 'hand', 'none')),
  site       TEXT NOT NULL CHECK (site IN ('', 'outdoor', 'house')), more TEXT NOT NULL DEFAULT '{}' CHECK (json_valid(more) AND json_type(more) = 'object'), gone INTEGER NOT NULL DEFAULT 0 CHECK (gone IN (0, 1)),
  CHECK ((x_m IS NULL) = (y_m IS NULL))
) STRICT;
CREATE TABLE calendar_entry (
  uid      TEXT PRIMARY KEY CHECK (uid <> ''),
  sequence INTEGER NOT NULL CHECK (sequence >= 0),
  revised  TEXT NOT NULL CHECK (revised IS strftime('%Y-%m-%dT%H:%M:%SZ', revised)),
  status   TEXT NOT NULL CHECK (status IN ('confirmed', 'cancelled')),
  entry    TEXT NOT NULL CHECK (json_valid(entry) AND json_type(entry) = 'object')
) STRICT;
CREATE TABLE change_added (
  change_id INTEGER NOT NULL REFERENCES change_set (id),
  kind      TEXT NOT NULL CHECK (kind <> ''),
  low       INTEGER NOT NULL CHECK (low >= 1),
  high      INTEGER NOT NULL CHECK (high >= low),
  PRIMARY KEY (kind, low)
) STRICT, WITHOUT ROWID;
CREATE TABLE "change_set" (
  id      INTEGER PRIMARY KEY,
  at      TEXT CHECK (at IS strftime('%Y-%m-%dT%H:%M:%SZ', at)),
  command TEXT NOT NULL,
  actor   TEXT NOT NULL,
  what    TEXT NOT NULL CHECK (what IN ('command', 'made', 'told', 'accepted', 'undo', 'redo')),
  about   INTEGER REFERENCES change_set (id) CHECK (about < id),
  CHECK ((about IS NOT NULL) = (what IN ('undo', 'redo')))
) STRICT;
CREATE TABLE change_step (
  change_id INTEGER NOT NULL REFERENCES change_set (id),
  seq       INTEGER NOT NULL CHECK (seq >= 1),
  kind      TEXT NOT NULL CHECK (kind <> ''),
  item      TEXT NOT NULL COLLATE NOCASE CHECK (item <> ''),
  what      TEXT NOT NULL CHECK (what IN ('void', 'amend', 'describe', 'version')),
  reason    TEXT NOT NULL,
  instead   INTEGER CHECK (instead >= 1),
  was       TEXT CHECK (json_valid(was) AND json_type(was) = 'object'),
  became    TEXT CHECK (json_valid(became) AND json_type(became) = 'object'),
  PRIMARY KEY (change_id, seq),
  CHECK ((instead IS NOT NULL) = (what IN ('amend', 'version'))),
  CHECK (what = 'describe' OR (was IS NULL AND became IS NULL))
) STRICT, WITHOUT ROWID;
CREATE TABLE done (
  id          INTEGER PRIMARY KEY,
  bed_id      INTEGER NOT NULL REFERENCES bed (id),
  pest        TEXT NOT NULL,
  action      TEXT NOT NULL CHECK (action <> ''),
  date        TEXT NOT NULL CHECK (date IS date(date)),
  note        TEXT NOT NULL,
  entered_at  TEXT NOT NULL CHECK (entered_at IS strftime('%Y-%m-%dT%H:%M:%SZ', entered_at)),
  voided_at   TEXT CHECK (voided_at IS strftime('%Y-%m-%dT%H:%M:%SZ', voided_at)),
  void_reason TEXT CHECK (void_reason <> ''), more TEXT NOT NULL DEFAULT '{}' CHECK (json_valid(more) AND json_type(more) = 'object'),
  CHECK ((voided_at IS NULL) = (void_reason IS NULL))
) STRICT;
CREATE TABLE enemy_count (
  visit_id INTEGER NOT NULL REFERENCES visit (id),
  seq      INTEGER NOT NULL CHECK (seq >= 1),
  enemy    TEXT NOT NULL CHECK (enemy <> ''),
  count    INTEGER NOT NULL CHECK (count BETWEEN 0 AND 100000),
  PRIMARY KEY (visit_id, seq)
) STRICT, WITHOUT ROWID;
CREATE TABLE farm (
  id             INTEGER PRIMARY KEY CHECK (id = 1),
  name           TEXT NOT NULL,
  place          TEXT NOT NULL,
  country        TEXT NOT NULL,
  time_zone      TEXT NOT NULL,
  hardiness_zone TEXT NOT NULL,
  last_frost     TEXT CHECK ('2001-' || last_frost IS date('2001-' || last_frost)),
  first_frost    TEXT CHECK ('2001-' || first_frost IS date('2001-' || first_frost)),
  units          TEXT NOT NULL CHECK (units IN ('metric', 'us')),
  organic        INTEGER NOT NULL CHECK (organic IN (0, 1)),
  scout_day      INTEGER NOT NULL CHECK (scout_day BETWEEN 0 AND 6),
  pests          TEXT NOT NULL CHECK (json_valid(pests) AND json_type(pests) = 'array'),
  area           TEXT NOT NULL CHECK (json_valid(area) AND json_type(area) = 'array'),
  waiting_cost   REAL NOT NULL CHECK (waiting_cost BETWEEN 0 AND 100)
, uid TEXT NOT NULL DEFAULT '', more TEXT NOT NULL DEFAULT '{}' CHECK (json_valid(more) AND json_type(more) = 'object')) STRICT;
CREATE TABLE label (
  key        TEXT NOT NULL COLLATE NOCASE CHECK (key <> ''),
  version    INTEGER NOT NULL CHECK (version >= 1),
  entered    TEXT CHECK (entered IS date(entered)),
  document   TEXT NOT NULL CHECK (json_valid(document) AND json_type(document) = 'object'),
  entered_at TEXT NOT NULL CHECK (entered_at IS strftime('%Y-%m-%dT%H:%M:%SZ', entered_at)), gone INTEGER NOT NULL DEFAULT 0 CHECK (gone IN (0, 1)),
  PRIMARY KEY (key, version)
) STRICT, WITHOUT ROWID;
CREATE TABLE override (
  id          INTEGER PRIMARY KEY,
  pest        TEXT NOT NULL CHECK (pest <> ''),
  measure     TEXT NOT NULL CHECK (measure <> ''),
  level       TEXT NOT NULL CHECK (level IN ('watch', 'act')),
  value       REAL NOT NULL CHECK (value >= 0),
  reason      TEXT NOT NULL CHECK (reason <> ''),
  since       TEXT NOT NULL CHECK (since IS date(since)),
  entered_at  TEXT NOT NULL CHECK (entered_at IS strftime('%Y-%m-%dT%H:%M:%SZ', entered_at)),
  voided_at   TEXT CHECK (voided_at IS strftime('%Y-%m-%dT%H:%M:%SZ', voided_at)),
  void_reason TEXT CHECK (void_reason <> ''),
  CHECK ((voided_at IS NULL) = (void_reason IS NULL))
) STRICT;
CREATE TABLE planned_cover (
  id          INTEGER PRIMARY KEY,
  bed_id      INTEGER NOT NULL REFERENCES bed (id),
  cover       TEXT NOT NULL CHECK (cover <> ''),
  sow         TEXT NOT NULL CHECK (sow IS date(sow)),
  kill        TEXT CHECK (kill IS date(kill) AND kill >= sow),
  note        TEXT NOT NULL,
  entered_at  TEXT NOT NULL CHECK (entered_at IS strftime('%Y-%m-%dT%H:%M:%SZ', entered_at)),
  voided_at   TEXT CHECK (voided_at IS strftime('%Y-%m-%dT%H:%M:%SZ', voided_at)),
  void_reason TEXT CHECK (void_reason <> ''),
  CHECK ((voided_at IS NULL) = (void_reason IS NULL))
) STRICT;
CREATE TABLE release (
  id          INTEGER PRIMARY KEY,
  bed_id      INTEGER NOT NULL REFERENCES bed (id),
  agent       TEXT NOT NULL CHECK (agent <> ''),
  pest        TEXT NOT NULL,
  date        TEXT NOT NULL CHECK (date IS date(date)),
  amount      REAL NOT NULL CHECK (amount >= 0),
  note        TEXT NOT NULL,
  entered_at  TEXT NOT NULL CHECK (entered_at IS strftime('%Y-%m-%dT%H:%M:%SZ', entered_at)),
  voided_at   TEXT CHECK (voided_at IS strftime('%Y-%m-%dT%H:%M:%SZ', voided_at)),
  void_reason TEXT CHECK (void_reason <> ''), more TEXT NOT NULL DEFAULT '{}' CHECK (json_valid(more) AND json_type(more) = 'object'),
  CHECK ((voided_at IS NULL) = (void_reason IS NULL))
) STRICT;
CREATE TABLE stage_event (
  id          INTEGER PRIMARY KEY,
  bed_id      INTEGER NOT NULL REFERENCES bed (id),
  date        TEXT NOT NULL CHECK (date IS date(date)),
  stage       TEXT NOT NULL CHECK (stage IN ('preplant', 'planted', 'emerged', 'pinched', 'budding', 'bloom', 'dug')),
  note        TEXT NOT NULL,
  entered_at  TEXT NOT NULL CHECK (entered_at IS strftime('%Y-%m-%dT%H:%M:%SZ', entered_at)),
  voided_at   TEXT CHECK (voided_at IS strftime('%Y-%m-%dT%H:%M:%SZ', voided_at)),
  void_reason TEXT CHECK (void_reason <> ''),
  CHECK ((voided_at IS NULL) = (void_reason IS NULL))
) STRICT;
CREATE TABLE treatment (
  id            INTEGER PRIMARY KEY,
  bed_id        INTEGER NOT NULL REFERENCES bed (id),
  part          TEXT NOT NULL,
  label_key     TEXT NOT NULL COLLATE NOCASE,
  label_version INTEGER NOT NULL,
  pest          TEXT NOT NULL,
  date          TEXT NOT NULL CHECK (date IS date(date)),
  start_at      TEXT CHECK (start_at IS strftime('%Y-%m-%dT%H:%M:%SZ', start_at)),
  end_at        TEXT NOT NULL CHECK (end_at IS strftime('%Y-%m-%dT%H:%M:%SZ', end_at)),
  end_known     INTEGER NOT NULL CHECK (end_known IN (0, 1)),
  amount        REAL CHECK (amount >= 0),
  amount_unit   TEXT CHECK (amount_unit <> ''),
  area_m2       REAL NOT NULL CHECK (area_m2 >= 0),
  who           TEXT NOT NULL,
  reason        TEXT NOT NULL,
  note          TEXT NOT NULL,
  breaches      TEXT NOT NULL CHECK (json_valid(breaches) AND json_type(breaches) = 'array'),
  entered_at    TEXT NOT NULL CHECK (entered_at IS strftime('%Y-%m-%dT%H:%M:%SZ', entered_at)),
  voided_at     TEXT CHECK (voided_at IS strftime('%Y-%m-%dT%H:%M:%SZ', voided_at)),
  void_reason   TEXT CHECK (void_reason <> ''), more TEXT NOT NULL DEFAULT '{}' CHECK (json_valid(more) AND json_type(more) = 'object'),
  CHECK (start_at <= end_at),
  CHECK ((amount IS NULL) = (amount_unit IS NULL)),
  CHECK ((voided_at IS NULL) = (void_reason IS NULL)),
  FOREIGN KEY (label_key, label_version) REFERENCES label (key, version)
) STRICT;
CREATE TABLE unit_count (
  visit_id INTEGER NOT NULL REFERENCES visit (id),
  seq      INTEGER NOT NULL CHECK (seq BETWEEN 1 AND 10000),
  count    INTEGER CHECK (count BETWEEN 0 AND 100000),
  PRIMARY KEY (visit_id, seq)
) STRICT, WITHOUT ROWID;
CREATE TABLE visit (
  id            INTEGER PRIMARY KEY,
  bed_id        INTEGER NOT NULL REFERENCES bed (id),
  date          TEXT NOT NULL CHECK (date IS date(date)),
  pest          TEXT NOT NULL CHECK (pest <> ''),
  unit          TEXT NOT NULL CHECK (unit <> ''),
  stratum       TEXT NOT NULL CHECK (stratum IN ('random', 'hot spot', 'edge')),
  units         INTEGER NOT NULL CHECK (units BETWEEN 0 AND 10000),
  n             INTEGER NOT NULL CHECK (n BETWEEN 0 AND units),
  sum           INTEGER NOT NULL CHECK (sum >= 0),
  sumsq         INTEGER NOT NULL CHECK (sumsq >= sum),
  zeros         INTEGER NOT NULL CHECK (zeros BETWEEN 0 AND n),
  infested      INTEGER CHECK (infested BETWEEN 0 AND looked),
  looked        INTEGER CHECK (looked > 0),
  damage_hurt   INTEGER CHECK (damage_hurt BETWEEN 0 AND damage_looked),
  damage_looked INTEGER CHECK (damage_looked > 0),
  soil          TEXT NOT NULL CHECK (soil IN ('', 'dry', 'moist', 'wet')),
  foliage       TEXT NOT NULL CHECK (foliage IN ('', 'dry', 'moist', 'wet')),
  air_c         REAL,
  soil_c        REAL,
  nights        INTEGER NOT NULL CHECK (nights BETWEEN 0 AND 60),
  disturbed     INTEGER NOT NULL CHECK (disturbed IN (0, 1)),
  observer      TEXT NOT NULL,
  note          TEXT NOT NULL,
  entered_at    TEXT NOT NULL CHECK (entered_at IS strftime('%Y-%m-%dT%H:%M:%SZ', entered_at)),
  voided_at     TEXT CHECK (voided_at IS strftime('%Y-%m-%dT%H:%M:%SZ', voided_at)),
  void_reason   TEXT CHECK (void_reason <> ''),
  CHECK (n > 0 OR looked IS NOT NULL),
  CHECK ((infested IS NULL) = (looked IS NULL)),
  CHECK ((damage_hurt IS NULL) = (damage_looked IS NULL)),
  CHECK ((voided_at IS NULL) = (void_reason IS NULL))
) STRICT;
CREATE TABLE weather_day (
  id           INTEGER PRIMARY KEY,
  date         TEXT NOT NULL CHECK (date IS date(date)),
  min_c        REAL,
  max_c        REAL CHECK (max_c >= min_c),
  rain_mm      REAL CHECK (rain_mm >= 0),
  soil_c       REAL,
  humidity_pct REAL CHECK (humidity_pct BETWEEN 0 AND 100),
  forecast     INTEGER NOT NULL CHECK (forecast IN (0, 1)),
  source       TEXT NOT NULL,
  entered_at   TEXT NOT NULL CHECK (entered_at IS strftime('%Y-%m-%dT%H:%M:%SZ', entered_at)),
  voided_at    TEXT CHECK (voided_at IS strftime('%Y-%m-%dT%H:%M:%SZ', voided_at)),
  void_reason  TEXT CHECK (void_reason <> ''),
  CHECK ((voided_at IS NULL) = (void_reason IS NULL))
) STRICT;
CREATE TRIGGER bed_kept BEFORE DELETE ON bed BEGIN SELECT RAISE(ABORT, 'beds are never deleted'); END;
CREATE TRIGGER change_added_fixed BEFORE UPDATE ON change_added BEGIN SELECT RAISE(ABORT, 'the journal is never changed'); END;
CREATE TRIGGER change_added_kept BEFORE DELETE ON change_added BEGIN SELECT RAISE(ABORT, 'the journal is never shortened'); END;
CREATE TRIGGER change_set_fixed BEFORE UPDATE ON change_set BEGIN SELECT RAISE(ABORT, 'the journal is never changed'); END;
CREATE TRIGGER change_set_kept BEFORE DELETE ON change_set BEGIN SELECT RAISE(ABORT, 'the journal is never shortened'); END;
CREATE TRIGGER change_step_fixed BEFORE UPDATE ON change_step BEGIN SELECT RAISE(ABORT, 'the journal is never changed'); END;
CREATE TRIGGER change_step_kept BEFORE DELETE ON change_step BEGIN SELECT RAISE(ABORT, 'the journal is never shortened'); END;
CREATE TRIGGER done_kept BEFORE DELETE ON done BEGIN SELECT RAISE(ABORT, 'records are voided, never deleted'); END;
CREATE TRIGGER enemy_count_fixed BEFORE UPDATE ON enemy_count BEGIN SELECT RAISE(ABORT, 'counts are never changed'); END;
CREATE TRIGGER enemy_count_kept BEFORE DELETE ON enemy_count BEGIN SELECT RAISE(ABORT, 'records are voided, never deleted'); END;
CREATE TRIGGER label_fixed BEFORE UPDATE OF key, version, entered, document, entered_at ON label BEGIN SELECT RAISE(ABORT, 'label versions are never changed'); END;
CREATE TRIGGER label_kept BEFORE DELETE ON label BEGIN SELECT RAISE(ABORT, 'label versions are never deleted'); END;
CREATE TRIGGER override_kept BEFORE DELETE ON override BEGIN SELECT RAISE(ABORT, 'records are voided, never deleted'); END;
CREATE TRIGGER planned_cover_kept BEFORE DELETE ON planned_cover BEGIN SELECT RAISE(ABORT, 'records are voided, never deleted'); END;
CREATE TRIGGER release_kept BEFORE DELETE ON release BEGIN SELECT RAISE(ABORT, 'records are voided, never deleted'); END;
CREATE TRIGGER stage_event_kept BEFORE DELETE ON stage_event BEGIN SELECT RAISE(ABORT, 'records are voided, never deleted'); END;
CREATE TRIGGER treatment_kept BEFORE DELETE ON treatment BEGIN SELECT RAISE(ABORT, 'records are voided, never deleted'); END;
CREATE TRIGGER unit_count_fixed BEFORE UPDATE ON unit_count BEGIN SELECT RAISE(ABORT, 'counts are never changed'); END;
CREATE TRIGGER unit_count_kept BEFORE DELETE ON unit_count BEGIN SELECT RAISE(ABORT, 'records are voided, never deleted'); END;
CREATE TRIGGER visit_kept BEFORE DELETE ON visit BEGIN SELECT RAISE(ABORT, 'records are voided, never deleted'); END;
CREATE TRIGGER weather_day_kept BEFORE DELETE ON weather_day BEGIN SELECT RAISE(ABORT, 'records are voided, never deleted'); END;
