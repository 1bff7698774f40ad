-- What the record of one shop or of several is made of, on a server.
--
-- Entries are only ever appended. A correction is another entry, so no row here is changed or removed: a shop's role has no
-- right to, and the triggers below refuse it to the owner too. They guard against mistakes; against somebody who holds the
-- server there is the hash chain in the lines.
--
-- A released migration is never edited. The next change is the next file.

-- One row a job, written together with the job's first entry.
CREATE TABLE witnessmark.jobs (
    -- The job's id, as text; compared byte by byte, whatever language the server sorts in.
    id text COLLATE "C" PRIMARY KEY
);

-- One row an entry.
CREATE TABLE witnessmark.entries (
    -- Where the entry stands in the record: 1, 2, 3 and on without a gap. A gap means that a row was taken out. Given under
    -- a lock that is held to the end of the transaction, not by a sequence: a sequence leaves gaps behind what was taken back.
    rank bigint PRIMARY KEY CHECK (rank > 0),
    -- The entry's id, made by the device that wrote it. The same id is never kept twice.
    id text COLLATE "C" NOT NULL UNIQUE,
    -- The job the entry belongs to; equal to the job named in the line.
    job text COLLATE "C" NOT NULL REFERENCES witnessmark.jobs (id),
    -- The line exactly as it came, byte for byte, without the line end.
    line bytea NOT NULL CHECK (length(line) > 0),
    -- SHA-256 of those bytes, 32 bytes. It covers spaces and digits that the chain's canonical form may not.
    sha256 bytea NOT NULL CHECK (length(sha256) = 32)
);

-- Entries of one job in the order they were kept.
CREATE INDEX entries_of_a_job ON witnessmark.entries (job, rank);

-- One row a photo or other attachment, with its bytes: every shop must be able to read what another one took.
CREATE TABLE witnessmark.attachments (
    -- SHA-256 of the bytes, 64 small hexadecimal digits.
    sha256 text COLLATE "C" PRIMARY KEY CHECK (length(sha256) = 64),
    -- How many bytes there are.
    size bigint NOT NULL CHECK (size >= 0),
    -- What the bytes are, as an internet media type, such as image/jpeg.
    media_type text NOT NULL CHECK (length(media_type) > 0),
    -- The bytes. Photos are compressed already, so they are not compressed once more.
    bytes bytea NOT NULL
);
ALTER TABLE witnessmark.attachments ALTER COLUMN bytes SET STORAGE EXTERNAL;

CREATE FUNCTION witnessmark.refuse_change() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    RAISE EXCEPTION '% on %: the record is only appended to; write a correcting or withdrawing entry', TG_OP, TG_TABLE_NAME
        USING ERRCODE = 'restrict_violation';
END;
$$;

CREATE TRIGGER jobs_stay BEFORE UPDATE OR DELETE ON witnessmark.jobs
    FOR EACH ROW EXECUTE FUNCTION witnessmark.refuse_change();
CREATE TRIGGER jobs_stay_all BEFORE TRUNCATE ON witnessmark.jobs
    FOR EACH STATEMENT EXECUTE FUNCTION witnessmark.refuse_change();
CREATE TRIGGER entries_stay BEFORE UPDATE OR DELETE ON witnessmark.entries
    FOR EACH ROW EXECUTE FUNCTION witnessmark.refuse_change();
CREATE TRIGGER entries_stay_all BEFORE TRUNCATE ON witnessmark.entries
    FOR EACH STATEMENT EXECUTE FUNCTION witnessmark.refuse_change();
CREATE TRIGGER attachments_stay BEFORE UPDATE OR DELETE ON witnessmark.attachments
    FOR EACH ROW EXECUTE FUNCTION witnessmark.refuse_change();
CREATE TRIGGER attachments_stay_all BEFORE TRUNCATE ON witnessmark.attachments
    FOR EACH STATEMENT EXECUTE FUNCTION witnessmark.refuse_change();
