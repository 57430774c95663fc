-- Why: the second can. A reorder is a wish with a state; a tint is one can really made, with the lots that went
-- in, and can be marked bad so that the next person is warned. Tints are facts, their marks too.

CREATE TABLE reorder (
    id          uuid PRIMARY KEY,
    match_id    uuid NOT NULL REFERENCES match,
    -- Null: whatever revision counts when the can is tinted. Set: this one and no other.
    revision_id uuid REFERENCES revision,
    store_id    uuid NOT NULL REFERENCES store,
    size        text NOT NULL,
    cans        smallint NOT NULL CHECK (cans BETWEEN 1 AND 500),
    state       text NOT NULL CHECK (state IN ('placed', 'being_tinted', 'ready', 'picked_up', 'cancelled')),
    placed_by   uuid NOT NULL REFERENCES person,
    placed_at   timestamptz NOT NULL,
    received_at timestamptz NOT NULL DEFAULT now(),
    version     integer NOT NULL DEFAULT 1
);
CREATE INDEX reorder_by_store ON reorder (store_id, state, id);
CREATE INDEX reorder_by_match ON reorder (match_id);

CREATE TABLE reorder_step (
    reorder_id uuid NOT NULL REFERENCES reorder,
    number     integer NOT NULL,
    from_state text,
    to_state   text NOT NULL,
    made_by    uuid NOT NULL REFERENCES person,
    at         timestamptz NOT NULL DEFAULT now(),
    PRIMARY KEY (reorder_id, number)
);

CREATE TABLE tint (
    id          uuid PRIMARY KEY,
    match_id    uuid NOT NULL REFERENCES match,
    revision_id uuid NOT NULL REFERENCES revision,
    reorder_id  uuid REFERENCES reorder,
    base_id     uuid NOT NULL REFERENCES base,
    size        text NOT NULL,
    base_lot    text,
    made_by     uuid NOT NULL REFERENCES person,
    store_id    uuid NOT NULL REFERENCES store,
    made_at     timestamptz NOT NULL,
    received_at timestamptz NOT NULL DEFAULT now()
);
CREATE INDEX tint_by_match ON tint (match_id, id);
CREATE INDEX tint_by_reorder ON tint (reorder_id) WHERE reorder_id IS NOT NULL;

-- What really went into the can, which may differ from the formula.
CREATE TABLE tint_shot (
    tint_id     uuid NOT NULL REFERENCES tint,
    position    smallint NOT NULL,
    colorant_id uuid NOT NULL REFERENCES colorant,
    count       integer NOT NULL CHECK (count > 0),
    unit        text NOT NULL,
    lot         text,
    PRIMARY KEY (tint_id, colorant_id),
    UNIQUE (tint_id, position)
);

CREATE TABLE tint_fault (
    id          uuid PRIMARY KEY,
    tint_id     uuid NOT NULL UNIQUE REFERENCES tint,
    match_id    uuid NOT NULL REFERENCES match,
    reason      text NOT NULL CHECK (reason IN
        ('wrong_color', 'wrong_sheen', 'wrong_base', 'wrong_amount', 'machine_fault', 'contaminated', 'other')),
    made_by     uuid NOT NULL REFERENCES person,
    store_id    uuid NOT NULL REFERENCES store,
    made_at     timestamptz NOT NULL,
    received_at timestamptz NOT NULL DEFAULT now()
);
CREATE INDEX tint_fault_by_match ON tint_fault (match_id);

CREATE TRIGGER reorder_step_is_fact BEFORE UPDATE OR DELETE ON reorder_step FOR EACH ROW EXECUTE FUNCTION refuse_rewrite();
CREATE TRIGGER tint_is_fact BEFORE UPDATE OR DELETE ON tint FOR EACH ROW EXECUTE FUNCTION refuse_rewrite();
CREATE TRIGGER tint_shot_is_fact BEFORE UPDATE OR DELETE ON tint_shot FOR EACH ROW EXECUTE FUNCTION refuse_rewrite();
CREATE TRIGGER tint_fault_is_fact BEFORE UPDATE OR DELETE ON tint_fault FOR EACH ROW EXECUTE FUNCTION refuse_rewrite();

CREATE CONSTRAINT TRIGGER reorder_logged AFTER INSERT OR UPDATE OR DELETE ON reorder
    DEFERRABLE INITIALLY DEFERRED FOR EACH ROW EXECUTE FUNCTION log_change('reorder', 'match');
CREATE CONSTRAINT TRIGGER tint_logged AFTER INSERT ON tint
    DEFERRABLE INITIALLY DEFERRED FOR EACH ROW EXECUTE FUNCTION log_change('tint', 'match');
CREATE CONSTRAINT TRIGGER tint_fault_logged AFTER INSERT ON tint_fault
    DEFERRABLE INITIALLY DEFERRED FOR EACH ROW EXECUTE FUNCTION log_change('tint_fault', 'match');

GRANT SELECT, INSERT, UPDATE ON reorder TO secondcan_app;
GRANT SELECT, INSERT ON reorder_step, tint, tint_shot, tint_fault TO secondcan_app;
