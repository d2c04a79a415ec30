-- +goose Up
-- Crop programmes at each version, as their text. A version is never changed
-- and never removed: crops keep the one they were planned with. Rows of origin
-- "built-in" are programmes of the suite that a crop of the co-op stands on,
-- kept here so that a later suite cannot change what that crop follows.
CREATE TABLE programme_version (
    coop_id      uuid        NOT NULL,
    programme_id text        NOT NULL CHECK (programme_id <> ''),
    version      integer     NOT NULL CHECK (version > 0),
    origin       text        NOT NULL CHECK (origin IN ('own', 'built-in')),
    programme    text        NOT NULL CHECK (programme <> ''),
    changed_by   text        NOT NULL,
    changed_at   timestamptz NOT NULL,
    PRIMARY KEY (coop_id, programme_id, version)
);
SELECT coop_scoped('programme_version');

-- +goose Down
DROP TABLE programme_version;
