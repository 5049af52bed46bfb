-- Schema version 3. A journal: which command wrote what. It tells the history
-- of a record, and what a command did can be taken back whole.
--
-- Rows of the journal are never changed. Whether a change stands follows from
-- the last undo or redo that is about it.

-- One row for each command that wrote.
--   command  took part in undo and redo
--   made     the farm's first description: not taken back
--   told     a calendar file was given out: not taken back
--   undo     took back the change `about`
--   redo     brought back the change `about`
CREATE TABLE change_set (
  id      INTEGER PRIMARY KEY,
  at      TEXT CHECK (at IS strftime('%Y-%m-%dT%H:%M:%SZ', at)),
  command TEXT NOT NULL,
  actor   TEXT NOT NULL,
  what    TEXT NOT NULL CHECK (what IN ('command', 'made', 'told', 'undo', 'redo')),
  about   INTEGER REFERENCES change_set (id) CHECK (about < id),
  CHECK ((about IS NOT NULL) = (what IN ('undo', 'redo')))
) STRICT;
CREATE INDEX change_set_about ON change_set (about, id) WHERE about IS NOT NULL;

-- The records that a change added, by the range of their numbers.
CREATE TABLE change_added (
  change_id INTEGER NOT NULL REFERENCES change_set (id),
  kind      TEXT NOT NULL CHECK (kind <> ''),
  low       INTEGER NOT NULL CHECK (low >= 1),
  high      INTEGER NOT NULL CHECK (high >= low),
  PRIMARY KEY (kind, low)
) STRICT, WITHOUT ROWID;
CREATE INDEX change_added_change ON change_added (change_id);

-- What a change did to what was there.
--   void      record number `item` of `kind` no longer counts
--   amend     the same, and `instead` is the record that takes its place
--   describe  the farm, or the bed with number `item`: `was` and `became`
--             are its row, NULL where it is not there
--   version   version `instead` of the label `item` was stored
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
CREATE INDEX change_step_item ON change_step (kind, item);

CREATE TRIGGER change_set_kept BEFORE DELETE ON change_set BEGIN SELECT RAISE(ABORT, 'the journal is never shortened'); END;
CREATE TRIGGER change_set_fixed BEFORE UPDATE ON change_set BEGIN SELECT RAISE(ABORT, 'the journal is never changed'); END;
CREATE TRIGGER change_added_kept BEFORE DELETE ON change_added BEGIN SELECT RAISE(ABORT, 'the journal is never shortened'); END;
CREATE TRIGGER change_added_fixed BEFORE UPDATE ON change_added BEGIN SELECT RAISE(ABORT, 'the journal is never changed'); END;
CREATE TRIGGER change_step_kept BEFORE DELETE ON change_step BEGIN SELECT RAISE(ABORT, 'the journal is never shortened'); END;
CREATE TRIGGER change_step_fixed BEFORE UPDATE ON change_step BEGIN SELECT RAISE(ABORT, 'the journal is never changed'); END;

-- A bed or a label version whose entry was taken back is gone: it is read by
-- what refers to it alone.
ALTER TABLE bed ADD COLUMN gone INTEGER NOT NULL DEFAULT 0 CHECK (gone IN (0, 1));
ALTER TABLE label ADD COLUMN gone INTEGER NOT NULL DEFAULT 0 CHECK (gone IN (0, 1));
DROP TRIGGER label_fixed;
CREATE TRIGGER label_fixed BEFORE UPDATE OF key, version, entered, document, entered_at ON label BEGIN SELECT RAISE(ABORT, 'label versions are never changed'); END;
CREATE TRIGGER bed_kept BEFORE DELETE ON bed BEGIN SELECT RAISE(ABORT, 'beds are never deleted'); END;

-- What was taken out since a day is looked for by each report of an earlier day.
CREATE INDEX visit_voided ON visit (voided_at) WHERE voided_at IS NOT NULL;
