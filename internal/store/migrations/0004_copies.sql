-- Schema version 4. Every value of every record stands a second time, in an
-- index, so that SQLite's integrity check finds a flipped bit in either of the
-- two. The counts need none: the sums on their visit tell. Nothing is looked up
-- in these indexes, so each begins with what nothing is looked up by or sorted
-- by. COLLATE BINARY: case counts here.

-- One more kind of change:
--   accepted  records were kept that differed from their second copy; its steps
--             say which, in the column reason
CREATE TABLE change_set_4 (
  id      INTEGER PRIMARY KEY,
  at      TEXT CHECK (at IS strftime('%Y-%m-%dT%H:%M:%SZ', at)),
  command TEXT NOT NULL,
  actor   TEXT NOT NULL,
  what    TEXT NOT NULL CHECK (what IN ('command', 'made', 'told', 'accepted', 'undo', 'redo')),
  about   INTEGER REFERENCES change_set (id) CHECK (about < id),
  CHECK ((about IS NOT NULL) = (what IN ('undo', 'redo')))
) STRICT;
INSERT INTO change_set_4 (id, at, command, actor, what, about) SELECT id, at, command, actor, what, about FROM change_set;
DROP TABLE change_set;
ALTER TABLE change_set_4 RENAME TO change_set;
CREATE INDEX change_set_about ON change_set (about, id) WHERE about IS NOT NULL;
CREATE TRIGGER change_set_kept BEFORE DELETE ON change_set BEGIN SELECT RAISE(ABORT, 'the journal is never shortened'); END;
CREATE TRIGGER change_set_fixed BEFORE UPDATE ON change_set BEGIN SELECT RAISE(ABORT, 'the journal is never changed'); END;

CREATE INDEX farm_copy ON farm (uid, name, place, country, time_zone, hardiness_zone, last_frost, first_frost, units, organic, scout_day, pests, area, waiting_cost, more);
CREATE INDEX bed_copy ON bed (cultivar, code COLLATE BINARY, block, x_m, y_m, length_m, width_m, plants, irrigation, site, more, gone);
CREATE INDEX stage_event_copy ON stage_event (note, bed_id, date, stage, entered_at, voided_at, void_reason);
CREATE INDEX enemy_count_copy ON enemy_count (count, enemy);
CREATE INDEX label_copy ON label (entered_at, key COLLATE BINARY, version, entered, document, gone);
CREATE INDEX treatment_copy ON treatment (note, bed_id, part, label_key COLLATE BINARY, label_version, pest, date, start_at, end_at, end_known, amount, amount_unit,
  area_m2, who, reason, breaches, entered_at, voided_at, void_reason, more);
CREATE INDEX release_copy ON release (note, bed_id, agent, pest, date, amount, entered_at, voided_at, void_reason, more);
CREATE INDEX done_copy ON done (note, bed_id, pest, action, date, entered_at, voided_at, void_reason, more);
CREATE INDEX weather_day_copy ON weather_day (source, date, min_c, max_c, rain_mm, soil_c, humidity_pct, forecast, entered_at, voided_at, void_reason);
CREATE INDEX override_copy ON override (reason, pest, measure, level, value, since, entered_at, voided_at, void_reason);
CREATE INDEX planned_cover_copy ON planned_cover (note, bed_id, cover, sow, kill, entered_at, voided_at, void_reason);
CREATE INDEX calendar_entry_copy ON calendar_entry (sequence, uid, revised, status, entry);
CREATE INDEX change_set_copy ON change_set (actor, at, command, what, about);
CREATE INDEX change_step_copy ON change_step (reason, kind, item COLLATE BINARY, what, instead, was, became);
DROP INDEX change_added_change;
CREATE INDEX change_added_change ON change_added (change_id, high);

-- Most visits say nothing but their counts: the condition leaves them out, and
-- one that is flipped into it is missing here. Its columns and those of the
-- sums are all but for two, which stand in the index by date.
CREATE INDEX visit_copy ON visit (note, bed_id, pest, unit, stratum, infested, looked, damage_hurt, damage_looked, soil, foliage, air_c, soil_c, nights, disturbed,
  observer, voided_at, void_reason)
  WHERE infested IS NOT NULL OR damage_hurt IS NOT NULL OR soil <> '' OR foliage <> '' OR air_c IS NOT NULL OR soil_c IS NOT NULL OR nights <> 0 OR disturbed <> 0
     OR observer <> '' OR note <> '' OR voided_at IS NOT NULL;
DROP INDEX visit_by_date;
CREATE INDEX visit_by_date ON visit (date, entered_at);
