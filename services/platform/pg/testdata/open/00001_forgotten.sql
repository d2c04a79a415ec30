-- +goose Up
CREATE TABLE forgotten (
    coop_id uuid NOT NULL,
    id      uuid NOT NULL,
    PRIMARY KEY (coop_id, id)
);

-- +goose Down
DROP TABLE forgotten;
