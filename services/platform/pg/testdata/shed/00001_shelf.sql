-- +goose Up
CREATE TABLE shelf (
    coop_id uuid NOT NULL,
    id      uuid NOT NULL,
    name    text NOT NULL,
    PRIMARY KEY (coop_id, id)
);
SELECT coop_scoped('shelf');

-- +goose Down
DROP TABLE shelf;
