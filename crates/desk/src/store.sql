-- The desk's own tables, version 1. What people wrote stands in case.toml beside the photos and what was
-- found in the library; these tables only say what waits, what was changed, and what the queue shows.

CREATE TABLE offer (
    id         TEXT PRIMARY KEY,
    added_at   TEXT NOT NULL,
    state      TEXT NOT NULL CHECK (state IN ('waiting', 'examining', 'examined', 'stuck')),
    urgency    INTEGER NOT NULL,
    asked_at   TEXT NOT NULL,
    problem    TEXT,
    away       INTEGER NOT NULL DEFAULT 0,
    shown      TEXT NOT NULL
);
CREATE INDEX offer_by_state ON offer (state, urgency, asked_at);

CREATE TABLE photo (
    offer      TEXT NOT NULL REFERENCES offer (id) ON DELETE CASCADE,
    file       TEXT NOT NULL,
    hash       TEXT NOT NULL CHECK (length(hash) = 64),
    PRIMARY KEY (offer, file)
);
CREATE INDEX photo_by_hash ON photo (hash);

-- A case file as it was before a change, so that the change can be undone.
CREATE TABLE revision (
    id         INTEGER PRIMARY KEY,
    offer      TEXT NOT NULL REFERENCES offer (id) ON DELETE CASCADE,
    at         TEXT NOT NULL,
    words      TEXT NOT NULL,
    before     TEXT NOT NULL,
    looks      INTEGER NOT NULL,
    undone     INTEGER NOT NULL DEFAULT 0
);
CREATE INDEX revision_by_offer ON revision (offer);

CREATE TABLE board (
    hash       TEXT PRIMARY KEY CHECK (length(hash) = 64),
    offer      TEXT NOT NULL,
    caption    TEXT NOT NULL,
    made_at    TEXT NOT NULL,
    away       INTEGER NOT NULL DEFAULT 0
);
