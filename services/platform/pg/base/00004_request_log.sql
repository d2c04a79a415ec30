-- +goose Up
-- Calls that changed something and the answer each got, so that the same
-- request sent again gets the same answer.
CREATE TABLE request_log (
    coop_id     uuid        NOT NULL,
    request_id  uuid        NOT NULL,
    method      text        NOT NULL CHECK (method <> ''),
    body_sha256 bytea       NOT NULL CHECK (octet_length(body_sha256) = 32),
    answer      bytea,      -- NULL only inside the transaction that makes it
    created_at  timestamptz NOT NULL DEFAULT now(),
    PRIMARY KEY (coop_id, request_id)
);
SELECT coop_scoped('request_log');

-- +goose Down
DROP TABLE request_log;
