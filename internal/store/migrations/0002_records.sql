-- Schema version 2. What an application record, a release and a step hold
-- besides, the farm's working week, and what was sent to the calendar.
--
-- A column `more` is a JSON object of what may be left out; a key that is not
-- there is not known.

ALTER TABLE farm ADD COLUMN uid TEXT NOT NULL DEFAULT ''; -- in the identifiers of calendar entries; never changes
UPDATE farm SET uid = lower(hex(randomblob(8)));
ALTER TABLE farm ADD COLUMN more TEXT NOT NULL DEFAULT '{}' CHECK (json_valid(more) AND json_type(more) = 'object');
ALTER TABLE bed ADD COLUMN more TEXT NOT NULL DEFAULT '{}' CHECK (json_valid(more) AND json_type(more) = 'object');
ALTER TABLE treatment ADD COLUMN more TEXT NOT NULL DEFAULT '{}' CHECK (json_valid(more) AND json_type(more) = 'object');
ALTER TABLE release ADD COLUMN more TEXT NOT NULL DEFAULT '{}' CHECK (json_valid(more) AND json_type(more) = 'object');
ALTER TABLE done ADD COLUMN more TEXT NOT NULL DEFAULT '{}' CHECK (json_valid(more) AND json_type(more) = 'object');

-- One row for each entry that a calendar file was given: it tells the next
-- file what has changed, and what is to be cancelled.
CREATE TABLE calendar_entry (
  uid      TEXT PRIMARY KEY CHECK (uid <> ''),
  sequence INTEGER NOT NULL CHECK (sequence >= 0),
  revised  TEXT NOT NULL CHECK (revised IS strftime('%Y-%m-%dT%H:%M:%SZ', revised)),
  status   TEXT NOT NULL CHECK (status IN ('confirmed', 'cancelled')),
  entry    TEXT NOT NULL CHECK (json_valid(entry) AND json_type(entry) = 'object')
) STRICT;
