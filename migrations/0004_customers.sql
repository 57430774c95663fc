-- Why: a customer is found by a name half remembered, a phone or a job. Names are folded by the program (accents,
-- case, legal forms and trade words gone) into a table of their own, so that the trigram index stays usable
-- whatever row policies come to stand on the customer table, and so that erasure has one place to clear.

CREATE TABLE customer (
    id         uuid PRIMARY KEY,
    kind       text NOT NULL CHECK (kind IN ('person', 'company')),
    name       text,
    note       text,
    store_id   uuid NOT NULL REFERENCES store,
    erased_at  timestamptz,
    version    integer NOT NULL DEFAULT 1,
    created_by uuid NOT NULL REFERENCES person,
    created_at timestamptz NOT NULL DEFAULT now(),
    updated_at timestamptz NOT NULL DEFAULT now(),
    CHECK (name IS NOT NULL OR erased_at IS NOT NULL)
);
CREATE INDEX customer_by_store ON customer (store_id, id);

CREATE TABLE customer_phone (
    customer_id uuid NOT NULL REFERENCES customer ON DELETE CASCADE,
    position    smallint NOT NULL,
    e164        text NOT NULL,
    label       text,
    last_seven  text NOT NULL GENERATED ALWAYS AS (right(e164, 7)) STORED,
    last_four   text NOT NULL GENERATED ALWAYS AS (right(e164, 4)) STORED,
    PRIMARY KEY (customer_id, position),
    UNIQUE (customer_id, e164)
);
CREATE INDEX customer_phone_whole ON customer_phone (e164);
CREATE INDEX customer_phone_last_seven ON customer_phone (last_seven);
CREATE INDEX customer_phone_last_four ON customer_phone (last_four);

CREATE TABLE customer_name (
    customer_id uuid PRIMARY KEY REFERENCES customer ON DELETE CASCADE,
    folded      text NOT NULL
);
CREATE INDEX customer_name_trigrams ON customer_name USING gin (folded gin_trgm_ops);
CREATE INDEX customer_name_prefix ON customer_name (folded text_pattern_ops);

CREATE TABLE job (
    id          uuid PRIMARY KEY,
    customer_id uuid NOT NULL REFERENCES customer,
    label       text,
    folded      text,
    erased_at   timestamptz,
    version     integer NOT NULL DEFAULT 1,
    created_by  uuid NOT NULL REFERENCES person,
    created_at  timestamptz NOT NULL DEFAULT now(),
    CHECK (label IS NOT NULL OR erased_at IS NOT NULL)
);
CREATE INDEX job_by_customer ON job (customer_id, id);
CREATE INDEX job_trigrams ON job USING gin (folded gin_trgm_ops);
CREATE INDEX job_prefix ON job (folded text_pattern_ops);

-- What a customer's record said before each edit: the base version of a later merge by field.
CREATE TABLE customer_past (
    customer_id uuid NOT NULL REFERENCES customer ON DELETE CASCADE,
    version     integer NOT NULL,
    was         jsonb NOT NULL,
    changed_by  uuid NOT NULL REFERENCES person,
    changed_at  timestamptz NOT NULL DEFAULT now(),
    PRIMARY KEY (customer_id, version)
);

-- Which customers a contractor's login stands for.
CREATE TABLE customer_link (
    id          uuid PRIMARY KEY DEFAULT gen_random_uuid(),
    person_id   uuid NOT NULL REFERENCES person,
    customer_id uuid NOT NULL REFERENCES customer,
    linked_by   uuid NOT NULL REFERENCES person,
    linked_at   timestamptz NOT NULL DEFAULT now(),
    UNIQUE (person_id, customer_id)
);
CREATE INDEX customer_link_by_customer ON customer_link (customer_id);

CREATE CONSTRAINT TRIGGER customer_logged AFTER INSERT OR UPDATE OR DELETE ON customer
    DEFERRABLE INITIALLY DEFERRED FOR EACH ROW EXECUTE FUNCTION log_change('customer', 'self');
CREATE CONSTRAINT TRIGGER job_logged AFTER INSERT OR UPDATE OR DELETE ON job
    DEFERRABLE INITIALLY DEFERRED FOR EACH ROW EXECUTE FUNCTION log_change('job', 'own');
CREATE CONSTRAINT TRIGGER customer_link_logged AFTER INSERT OR UPDATE OR DELETE ON customer_link
    DEFERRABLE INITIALLY DEFERRED FOR EACH ROW EXECUTE FUNCTION log_change('customer_link', 'own');

GRANT SELECT, INSERT, UPDATE ON customer, job TO secondcan_app;
GRANT SELECT, INSERT, DELETE ON customer_phone, customer_link TO secondcan_app;
GRANT SELECT, INSERT, UPDATE, DELETE ON customer_name TO secondcan_app;
GRANT SELECT, INSERT ON customer_past TO secondcan_app;
