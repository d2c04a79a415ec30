-- +goose Up
-- What lots of a phase must prove. Every version stays: a lot is judged by the rules in force
-- at the instant for which it is judged. Without a version, by the catalogue's first choices.
CREATE TABLE release_rules (
    coop_id    uuid        NOT NULL DEFAULT current_setting('breakshare.coop')::uuid,
    phase      smallint    NOT NULL CHECK (phase IN (1, 2)), -- 2 stands for 2 and 3
    version    bigint      NOT NULL CHECK (version > 0),
    changed_by text        NOT NULL,
    changed_at timestamptz NOT NULL,
    PRIMARY KEY (coop_id, phase, version)
);
SELECT coop_scoped('release_rules');

CREATE TABLE release_criterion (
    coop_id      uuid    NOT NULL DEFAULT current_setting('breakshare.coop')::uuid,
    phase        smallint NOT NULL,
    version      bigint   NOT NULL,
    number       integer  NOT NULL CHECK (number > 0),
    criterion_id text     NOT NULL CHECK (criterion_id <> ''),
    -- Figures that differ from the catalogue's; NULL for the catalogue's.
    low          bigint,
    high         bigint,
    seconds      bigint   CHECK (seconds > 0),
    min_probes   integer  CHECK (min_probes > 0),
    source       text     CHECK (source <> ''),
    PRIMARY KEY (coop_id, phase, version, number),
    FOREIGN KEY (coop_id, phase, version) REFERENCES release_rules,
    CHECK (source IS NOT NULL OR num_nonnulls(low, high, seconds, min_probes) = 0)
);
SELECT coop_scoped('release_criterion');

-- +goose Down
DROP TABLE release_criterion, release_rules;
