package store

// schema of version 2. The small columns come before the bytes, so that a filter never reads a body's pages; packing says how the body is
// kept (pack.go), and who reads it has read the body. Leaves and rules have tables of their own because a row has several. All of it but head
// and body can be derived from head.
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
  previous   BLOB    NOT NULL,
  hash       BLOB    NOT NULL,
  head       BLOB    NOT NULL,
  body       BLOB    NOT NULL,
  packing    INTEGER NOT NULL DEFAULT 0
) STRICT;
CREATE UNIQUE INDEX entry_place   ON entry (chain, number);
CREATE UNIQUE INDEX entry_request ON entry (request_id) WHERE request_id <> '';
CREATE INDEX entry_state ON entry (chain, number) WHERE state <> 0;
CREATE INDEX entry_time  ON entry (time_ns);
CREATE INDEX entry_rig   ON entry (rig);
CREATE TABLE leave (leave_id TEXT NOT NULL, sequence INTEGER NOT NULL, PRIMARY KEY (leave_id, sequence)) STRICT, WITHOUT ROWID;
CREATE TABLE rule  (rule_id  TEXT NOT NULL, sequence INTEGER NOT NULL, PRIMARY KEY (rule_id, sequence))  STRICT, WITHOUT ROWID;
`

// upgrade makes a file of version 1 one of version 2, whose rows stay as they are. SQLite looks through the table as it takes a column
// in: about a second a gigabyte, once.
const upgrade = `ALTER TABLE entry ADD COLUMN packing INTEGER NOT NULL DEFAULT 0;`
