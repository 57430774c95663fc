-- Why: the heart of the library. What was measured, what formula was found and what it really looked like are
-- facts and never rewritten; who a match belongs to and which revision counts can change, so they stand on the
-- match. Text that a person typed stands in `note`, which erasure can clear without touching a fact.

-- reflectance: fractions at start_nm + i × step_nm. as_read: the file's own digits, before any conversion.
CREATE TABLE measurement (
    id            uuid PRIMARY KEY,
    start_nm      real NOT NULL CHECK (start_nm > 0),
    step_nm       real NOT NULL CHECK (step_nm > 0),
    reflectance   real[] NOT NULL CHECK (cardinality(reflectance) BETWEEN 2 AND 1000),
    as_read       text[] NOT NULL,
    read_as       text NOT NULL CHECK (read_as IN ('fraction', 'percent')),
    ends_extended boolean NOT NULL,
    geometry      text CHECK (geometry IN ('45:0', '45a:0', 'd:8')),
    specular      text CHECK (specular IN ('included', 'excluded')),
    aperture_mm   real CHECK (aperture_mm > 0),
    backing       text CHECK (backing IN ('black', 'white', 'sample')),
    readings      smallint NOT NULL CHECK (readings > 0),
    gloss60       real CHECK (gloss60 >= 0),
    gloss85       real CHECK (gloss85 >= 0),
    instrument_id uuid REFERENCES instrument,
    temperature_c real,
    measured_at   timestamptz,
    made_by       uuid NOT NULL REFERENCES person,
    store_id      uuid NOT NULL REFERENCES store,
    received_at   timestamptz NOT NULL DEFAULT now()
);

-- Derived from the spectrum, stamped with the method, recomputed when the method changes.
CREATE TABLE measurement_color (
    measurement_id uuid NOT NULL REFERENCES measurement,
    light          text NOT NULL,
    observer       smallint NOT NULL CHECK (observer IN (2, 10)),
    method         text NOT NULL,
    l              double precision NOT NULL,
    a              double precision NOT NULL,
    b              double precision NOT NULL,
    PRIMARY KEY (measurement_id, light, observer)
);

CREATE TABLE match (
    id          uuid PRIMARY KEY,
    label_code  text NOT NULL,
    customer_id uuid NOT NULL REFERENCES customer,
    job_id      uuid REFERENCES job,
    product_id  uuid NOT NULL REFERENCES product,
    sheen_id    uuid NOT NULL REFERENCES sheen,
    store_id    uuid NOT NULL REFERENCES store,
    sample_id   uuid NOT NULL REFERENCES measurement,
    -- Null: the latest revision in server order counts. Set: a person picked this one.
    picked_revision_id uuid,
    made_by     uuid NOT NULL REFERENCES person,
    made_at     timestamptz NOT NULL,
    received_at timestamptz NOT NULL DEFAULT now(),
    version     integer NOT NULL DEFAULT 1
);
-- Not unique: 50 random bits meet by chance once in some 2,000 libraries of a million matches, and a record that
-- a branch has already labeled can't be refused for that. A look-up shows both.
CREATE INDEX match_by_label ON match (label_code);
CREATE INDEX match_by_customer ON match (customer_id, id);
CREATE INDEX match_by_job ON match (job_id) WHERE job_id IS NOT NULL;
CREATE INDEX match_by_store ON match (store_id, id);

CREATE TABLE revision (
    id           uuid PRIMARY KEY,
    match_id     uuid NOT NULL REFERENCES match,
    parent_id    uuid REFERENCES revision,
    reused_from  uuid REFERENCES revision,
    -- Server order within the match: 1, 2, 3 …
    number       integer NOT NULL CHECK (number > 0),
    base_id      uuid NOT NULL REFERENCES base,
    sheen_id     uuid NOT NULL REFERENCES sheen,
    size         text NOT NULL,
    predicted_l  double precision,
    predicted_a  double precision,
    predicted_b  double precision,
    made_by      uuid NOT NULL REFERENCES person,
    store_id     uuid NOT NULL REFERENCES store,
    made_at      timestamptz NOT NULL,
    received_at  timestamptz NOT NULL DEFAULT now(),
    UNIQUE (match_id, number),
    CHECK (num_nulls(predicted_l, predicted_a, predicted_b) IN (0, 3)),
    CHECK (parent_id IS NULL OR reused_from IS NULL)
);
CREATE INDEX revision_by_reuse ON revision (reused_from) WHERE reused_from IS NOT NULL;
ALTER TABLE match ADD CONSTRAINT match_picked_revision FOREIGN KEY (picked_revision_id) REFERENCES revision;

CREATE TABLE revision_shot (
    revision_id uuid NOT NULL REFERENCES revision,
    position    smallint NOT NULL,
    colorant_id uuid NOT NULL REFERENCES colorant,
    count       integer NOT NULL CHECK (count > 0),
    unit        text NOT NULL,
    PRIMARY KEY (revision_id, colorant_id),
    UNIQUE (revision_id, position)
);

CREATE TABLE drawdown (
    id             uuid PRIMARY KEY,
    revision_id    uuid NOT NULL REFERENCES revision,
    match_id       uuid NOT NULL REFERENCES match,
    measurement_id uuid NOT NULL REFERENCES measurement,
    -- Latex darkens as it dries: a wet drawdown proves nothing (common practice, no source).
    dry            boolean NOT NULL,
    made_by        uuid NOT NULL REFERENCES person,
    store_id       uuid NOT NULL REFERENCES store,
    made_at        timestamptz NOT NULL,
    received_at    timestamptz NOT NULL DEFAULT now()
);
CREATE INDEX drawdown_by_revision ON drawdown (revision_id, received_at);
CREATE INDEX drawdown_by_match ON drawdown (match_id);

CREATE TABLE note (
    id         uuid PRIMARY KEY,
    match_id   uuid NOT NULL REFERENCES match,
    about      text NOT NULL CHECK (about IN ('match', 'revision', 'drawdown', 'tint', 'tint_fault')),
    about_id   uuid NOT NULL,
    body       text,
    erased_at  timestamptz,
    version    integer NOT NULL DEFAULT 1,
    made_by    uuid NOT NULL REFERENCES person,
    made_at    timestamptz NOT NULL DEFAULT now(),
    UNIQUE (about, about_id),
    CHECK (body IS NOT NULL OR erased_at IS NOT NULL)
);
CREATE INDEX note_by_match ON note (match_id);

-- A half-made match that survives a ringing phone. Its owner's alone, rewritten at every pause, so it stays out
-- of the change log.
CREATE TABLE draft (
    id         uuid PRIMARY KEY,
    person_id  uuid NOT NULL REFERENCES person,
    store_id   uuid NOT NULL REFERENCES store,
    title      text NOT NULL,
    body       jsonb NOT NULL,
    version    integer NOT NULL DEFAULT 1,
    created_at timestamptz NOT NULL DEFAULT now(),
    updated_at timestamptz NOT NULL DEFAULT now()
);
CREATE INDEX draft_by_person ON draft (person_id, id);

CREATE TRIGGER measurement_is_fact BEFORE UPDATE OR DELETE ON measurement FOR EACH ROW EXECUTE FUNCTION refuse_rewrite();
CREATE TRIGGER revision_is_fact BEFORE UPDATE OR DELETE ON revision FOR EACH ROW EXECUTE FUNCTION refuse_rewrite();
CREATE TRIGGER revision_shot_is_fact BEFORE UPDATE OR DELETE ON revision_shot FOR EACH ROW EXECUTE FUNCTION refuse_rewrite();
CREATE TRIGGER drawdown_is_fact BEFORE UPDATE OR DELETE ON drawdown FOR EACH ROW EXECUTE FUNCTION refuse_rewrite();

CREATE CONSTRAINT TRIGGER match_logged AFTER INSERT OR UPDATE OR DELETE ON match
    DEFERRABLE INITIALLY DEFERRED FOR EACH ROW EXECUTE FUNCTION log_change('match', 'own');
CREATE CONSTRAINT TRIGGER revision_logged AFTER INSERT ON revision
    DEFERRABLE INITIALLY DEFERRED FOR EACH ROW EXECUTE FUNCTION log_change('revision', 'match');
CREATE CONSTRAINT TRIGGER drawdown_logged AFTER INSERT ON drawdown
    DEFERRABLE INITIALLY DEFERRED FOR EACH ROW EXECUTE FUNCTION log_change('drawdown', 'match');
CREATE CONSTRAINT TRIGGER note_logged AFTER INSERT OR UPDATE OR DELETE ON note
    DEFERRABLE INITIALLY DEFERRED FOR EACH ROW EXECUTE FUNCTION log_change('note', 'match');

GRANT SELECT, INSERT ON measurement, revision, revision_shot, drawdown TO secondcan_app;
GRANT SELECT, INSERT, UPDATE ON measurement_color, match, note TO secondcan_app;
GRANT SELECT, INSERT, UPDATE, DELETE ON draft TO secondcan_app;
