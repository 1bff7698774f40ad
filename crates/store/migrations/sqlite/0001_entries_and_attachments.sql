-- What the shop's record is made of.
--
-- Entries are only ever appended. A correction is another entry, so no row here is changed or removed, and the triggers
-- below refuse it. They guard against mistakes; against somebody who holds the file there is the hash chain in the lines.
--
-- A released migration is never edited. The next change is the next file.

-- Marks the file as ours, so that a tool that meets it can tell ("wtmk" as four bytes).
PRAGMA application_id = 2004118891;

-- One row a job, written together with the job's first entry.
CREATE TABLE jobs (
    -- The job's id, as text.
    id TEXT NOT NULL PRIMARY KEY
) STRICT;

-- One row an entry.
CREATE TABLE entries (
    -- Where the entry stands in the record: 1, 2, 3 and on without a gap. A gap means that a row was taken out.
    rank INTEGER PRIMARY KEY CHECK (rank > 0),
    -- The entry's id, made by the device that wrote it. The same id is never kept twice.
    id TEXT NOT NULL UNIQUE,
    -- The job the entry belongs to; equal to the job named in the line.
    job TEXT NOT NULL REFERENCES jobs (id),
    -- The line exactly as it came, byte for byte, without the line end.
    line BLOB NOT NULL CHECK (length(line) > 0),
    -- SHA-256 of those bytes, 32 bytes. It covers spaces and digits that the chain's canonical form may not.
    sha256 BLOB NOT NULL CHECK (length(sha256) = 32)
) STRICT;

-- Entries of one job in the order they were kept.
CREATE INDEX entries_of_a_job ON entries (job, rank);

-- One row a photo or other attachment. The bytes lie in a file named after their SHA-256.
CREATE TABLE attachments (
    -- SHA-256 of the bytes, 64 small hexadecimal digits; also the name of the file.
    sha256 TEXT NOT NULL PRIMARY KEY CHECK (length(sha256) = 64),
    -- How many bytes the file has.
    size INTEGER NOT NULL CHECK (size >= 0),
    -- What the bytes are, as an internet media type, such as image/jpeg.
    media_type TEXT NOT NULL CHECK (length(media_type) > 0)
) STRICT;

CREATE TRIGGER jobs_are_not_changed BEFORE UPDATE ON jobs
BEGIN SELECT RAISE(ABORT, 'a job is never renamed'); END;
CREATE TRIGGER jobs_are_not_removed BEFORE DELETE ON jobs
BEGIN SELECT RAISE(ABORT, 'a job is never removed'); END;

CREATE TRIGGER entries_are_not_changed BEFORE UPDATE ON entries
BEGIN SELECT RAISE(ABORT, 'entries are only appended: write a correcting entry'); END;
CREATE TRIGGER entries_are_not_removed BEFORE DELETE ON entries
BEGIN SELECT RAISE(ABORT, 'entries are only appended: write a withdrawing entry'); END;
-- "INSERT OR REPLACE" would remove a row without asking the trigger above, so it is met before it starts.
CREATE TRIGGER entries_are_not_replaced BEFORE INSERT ON entries
WHEN EXISTS (SELECT 1 FROM entries WHERE id = NEW.id OR rank = NEW.rank)
BEGIN SELECT RAISE(ABORT, 'entries are only appended: this id or rank is taken'); END;

CREATE TRIGGER attachments_are_not_changed BEFORE UPDATE ON attachments
BEGIN SELECT RAISE(ABORT, 'an attachment is never changed'); END;
CREATE TRIGGER attachments_are_not_removed BEFORE DELETE ON attachments
BEGIN SELECT RAISE(ABORT, 'an attachment is never removed'); END;
CREATE TRIGGER attachments_are_not_replaced BEFORE INSERT ON attachments
WHEN EXISTS (SELECT 1 FROM attachments WHERE sha256 = NEW.sha256)
BEGIN SELECT RAISE(ABORT, 'an attachment is never replaced'); END;
