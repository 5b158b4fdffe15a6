-- Tables of the library's index, version 1. Common subset of SQLite and PostgreSQL where it can be:
-- text ids, ISO 8601 instants as text, documents as JSON text.

CREATE TABLE photo (
    hash       TEXT PRIMARY KEY CHECK (length(hash) = 64),
    ending     TEXT NOT NULL,
    bytes      INTEGER NOT NULL CHECK (bytes > 0),
    added_at   TEXT NOT NULL
);

CREATE TABLE catalogue (
    line       TEXT NOT NULL,
    release    TEXT NOT NULL,
    document   TEXT NOT NULL,
    added_at   TEXT NOT NULL,
    PRIMARY KEY (line, release)
);

CREATE TABLE face (
    product    TEXT NOT NULL,
    face       TEXT NOT NULL,
    line       TEXT NOT NULL,
    release    TEXT NOT NULL,
    photo      TEXT NOT NULL REFERENCES photo (hash),
    PRIMARY KEY (product, face),
    FOREIGN KEY (line, release) REFERENCES catalogue (line, release) ON DELETE CASCADE
);

CREATE TABLE specimen (
    id         TEXT PRIMARY KEY,
    product    TEXT NOT NULL,
    state      TEXT NOT NULL CHECK (state IN ('sealed', 'resealed', 'counterfeit', 'never-made')),
    origin     TEXT NOT NULL CHECK (origin IN ('physical', 'rendered')),
    document   TEXT NOT NULL,
    added_at   TEXT NOT NULL
);
CREATE INDEX specimen_by_product ON specimen (product);

CREATE TABLE specimen_photo (
    specimen   TEXT NOT NULL REFERENCES specimen (id) ON DELETE CASCADE,
    file       TEXT NOT NULL,
    photo      TEXT NOT NULL REFERENCES photo (hash),
    PRIMARY KEY (specimen, file)
);

-- What the examiners read from one sitting of a specimen. `examiners` names the version of the
-- measuring code: another version measures again.
CREATE TABLE measurement (
    specimen   TEXT NOT NULL REFERENCES specimen (id) ON DELETE CASCADE,
    sitting    TEXT NOT NULL,
    examiners  TEXT NOT NULL,
    document   TEXT NOT NULL,
    PRIMARY KEY (specimen, sitting)
);

CREATE TABLE examination (
    id         INTEGER PRIMARY KEY,
    case_id    TEXT NOT NULL,
    document   TEXT NOT NULL,
    made_at    TEXT NOT NULL
);
CREATE INDEX examination_by_case ON examination (case_id);

-- Append-only: each row carries the BLAKE3 of the row before it, and the triggers refuse changes.
CREATE TABLE audit (
    number     INTEGER PRIMARY KEY,
    at         TEXT NOT NULL,
    act        TEXT NOT NULL,
    subject    TEXT NOT NULL,
    detail     TEXT NOT NULL,
    before     TEXT NOT NULL,
    hash       TEXT NOT NULL
);
CREATE TRIGGER audit_stays BEFORE UPDATE ON audit
    BEGIN SELECT RAISE(ABORT, 'the audit trail only grows'); END;
CREATE TRIGGER audit_is_kept BEFORE DELETE ON audit
    BEGIN SELECT RAISE(ABORT, 'the audit trail only grows'); END;
