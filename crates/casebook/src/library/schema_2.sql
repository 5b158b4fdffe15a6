-- Step to version 2 of the index: what items turned out to be. Rows are only added; the last one of an
-- item counts.

CREATE TABLE outcome (
    id          INTEGER PRIMARY KEY,
    case_id     TEXT NOT NULL,
    item        TEXT NOT NULL,
    document    TEXT NOT NULL,
    recorded_at TEXT NOT NULL
);
CREATE INDEX outcome_by_item ON outcome (case_id, item);
