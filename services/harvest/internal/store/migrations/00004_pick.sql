-- +goose Up
-- Every weighing, as it was recorded.
CREATE TABLE pick (
    coop_id      uuid        NOT NULL DEFAULT current_setting('breakshare.coop')::uuid,
    pick_id      uuid        NOT NULL,
    pick_lot_id  text        NOT NULL,
    gross_grams  bigint      NOT NULL,
    tare_grams   bigint      NOT NULL CHECK (tare_grams >= 0),
    crates       int         NOT NULL CHECK (crates >= 0),
    picker       text        NOT NULL, -- empty where not noted
    break_number int         CHECK (break_number >= 1), -- NULL where not noted
    recorded_at  timestamptz NOT NULL,
    recorded_by  text        NOT NULL,
    PRIMARY KEY (coop_id, pick_id),
    FOREIGN KEY (coop_id, pick_lot_id) REFERENCES pick_lot,
    CHECK (gross_grams > tare_grams)
);
CREATE INDEX pick_of_lot ON pick (coop_id, pick_lot_id);
SELECT coop_scoped('pick');
CREATE TRIGGER append_only BEFORE UPDATE OR DELETE ON pick
    FOR EACH ROW EXECUTE FUNCTION append_only();

-- +goose Down
DROP TABLE pick;
