package store

// schema of version 3. Entries have no index: a commit writes the last page of one table, and what of a row goes beyond it. What rows are found by
// stands beside them, in mark, leave and rule, which follow some way behind (mark.go); until then the row itself says it, its lists as JSON. The
// small columns come before the bytes, so that a filter never reads a body's pages; packing says how the body is kept (pack.go), and
// who reads it has read the body. Leaves and rules have tables of their own because a row has several. All of it but head and body can be
// derived from head.
const schema = `
CREATE TABLE entry (
  sequence   INTEGER PRIMARY KEY,
  chain      TEXT    NOT NULL,
  number     INTEGER NOT NULL,
  time_ns    INTEGER NOT NULL,
  kind       TEXT    NOT NULL,
  rig        TEXT    NOT NULL,
  asker      TEXT    NOT NULL,
  request_id TEXT    NOT NULL,
  verdict    TEXT    NOT NULL,
  state      INTEGER NOT NULL,
  leave_ids  TEXT    NOT NULL DEFAULT '[]',
  rule_ids   TEXT    NOT NULL DEFAULT '[]',
  previous   BLOB    NOT NULL,
  hash       BLOB    NOT NULL,
  head       BLOB    NOT NULL,
  body       BLOB    NOT NULL,
  packing    INTEGER NOT NULL DEFAULT 0
) STRICT;
CREATE TABLE leave (leave_id TEXT NOT NULL, sequence INTEGER NOT NULL, PRIMARY KEY (leave_id, sequence)) STRICT, WITHOUT ROWID;
CREATE TABLE rule  (rule_id  TEXT NOT NULL, sequence INTEGER NOT NULL, PRIMARY KEY (rule_id, sequence))  STRICT, WITHOUT ROWID;
` + marks

// marks are what entries are found by: of every one up to the highest sequence there.
const marks = `
CREATE TABLE mark (
  sequence   INTEGER PRIMARY KEY,
  chain      TEXT    NOT NULL,
  number     INTEGER NOT NULL,
  time_ns    INTEGER NOT NULL,
  rig        TEXT    NOT NULL,
  request_id TEXT    NOT NULL,
  state      INTEGER NOT NULL
) STRICT;
CREATE UNIQUE INDEX mark_place ON mark (chain, number);
CREATE INDEX mark_request ON mark (request_id) WHERE request_id <> '';
CREATE INDEX mark_state ON mark (chain, number) WHERE state <> 0;
CREATE INDEX mark_time  ON mark (time_ns);
CREATE INDEX mark_rig   ON mark (rig);
`

// upgrades make a file of a version one of the next, whose entries stay as they are. SQLite looks through the table as it takes a column
// in, and again for the marks: some seconds a gigabyte, once.
var upgrades = map[int]string{
	1: `ALTER TABLE entry ADD COLUMN packing INTEGER NOT NULL DEFAULT 0;`,
	2: `ALTER TABLE entry ADD COLUMN leave_ids TEXT NOT NULL DEFAULT '[]';
ALTER TABLE entry ADD COLUMN rule_ids TEXT NOT NULL DEFAULT '[]';` + marks + addMarks + ` ORDER BY sequence;
DROP INDEX entry_place; DROP INDEX entry_request; DROP INDEX entry_state; DROP INDEX entry_time; DROP INDEX entry_rig;`,
}
