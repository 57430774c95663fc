-- Why: a formula is only as good as the can it goes into. Fills and colorant rooms are kept per base and can
-- size, in whole hundredths of a milliliter, so that no rounding stands between a check and the can.

CREATE TABLE colorant (
    id         uuid PRIMARY KEY,
    ci_name    text NOT NULL,
    pigment    text NOT NULL,
    retired_at timestamptz,
    version    integer NOT NULL DEFAULT 1,
    created_at timestamptz NOT NULL DEFAULT now(),
    UNIQUE (ci_name, pigment)
);

CREATE TABLE product (
    id         uuid PRIMARY KEY,
    name       text NOT NULL UNIQUE,
    -- What carries the paint decides which cautions are shown.
    carrier    text NOT NULL CHECK (carrier IN ('water', 'solvent')),
    retired_at timestamptz,
    version    integer NOT NULL DEFAULT 1,
    created_at timestamptz NOT NULL DEFAULT now()
);

CREATE TABLE sheen (
    id          uuid PRIMARY KEY,
    product_id  uuid NOT NULL REFERENCES product,
    word        text NOT NULL,
    gloss60_min smallint NOT NULL CHECK (gloss60_min >= 0),
    gloss60_max smallint NOT NULL CHECK (gloss60_max >= gloss60_min),
    UNIQUE (product_id, word)
);

CREATE TABLE base (
    id         uuid PRIMARY KEY,
    product_id uuid NOT NULL REFERENCES product,
    name       text NOT NULL,
    kind       text NOT NULL,
    retired_at timestamptz,
    version    integer NOT NULL DEFAULT 1,
    created_at timestamptz NOT NULL DEFAULT now(),
    UNIQUE (product_id, name)
);

CREATE TABLE base_room (
    base_id      uuid NOT NULL REFERENCES base ON DELETE CASCADE,
    size         text NOT NULL,
    fill_centiml integer NOT NULL CHECK (fill_centiml > 0),
    room_centiml integer NOT NULL CHECK (room_centiml >= 0),
    PRIMARY KEY (base_id, size)
);

-- One row: the chain's words for how near is near enough, set by the color lead.
CREATE TABLE verdict_limits (
    id                 uuid PRIMARY KEY,
    only_row           boolean NOT NULL DEFAULT true UNIQUE CHECK (only_row),
    indistinguishable  double precision NOT NULL,
    accepted           double precision NOT NULL,
    ask                double precision NOT NULL,
    version            integer NOT NULL DEFAULT 1,
    CHECK (0 < indistinguishable AND indistinguishable < accepted AND accepted < ask AND ask <= 20)
);
-- Common practice, no source: 0.5, 1.0, 2.0 in CIEDE2000.
INSERT INTO verdict_limits (id, indistinguishable, accepted, ask)
VALUES ('01900000-0000-7000-8000-000000000001', 0.5, 1.0, 2.0);

CREATE CONSTRAINT TRIGGER colorant_logged AFTER INSERT OR UPDATE OR DELETE ON colorant
    DEFERRABLE INITIALLY DEFERRED FOR EACH ROW EXECUTE FUNCTION log_change('colorant', 'none');
CREATE CONSTRAINT TRIGGER product_logged AFTER INSERT OR UPDATE OR DELETE ON product
    DEFERRABLE INITIALLY DEFERRED FOR EACH ROW EXECUTE FUNCTION log_change('product', 'none');
CREATE CONSTRAINT TRIGGER sheen_logged AFTER INSERT OR UPDATE OR DELETE ON sheen
    DEFERRABLE INITIALLY DEFERRED FOR EACH ROW EXECUTE FUNCTION log_change('sheen', 'none');
CREATE CONSTRAINT TRIGGER base_logged AFTER INSERT OR UPDATE OR DELETE ON base
    DEFERRABLE INITIALLY DEFERRED FOR EACH ROW EXECUTE FUNCTION log_change('base', 'none');
CREATE CONSTRAINT TRIGGER verdict_limits_logged AFTER UPDATE ON verdict_limits
    DEFERRABLE INITIALLY DEFERRED FOR EACH ROW EXECUTE FUNCTION log_change('verdict_limits', 'none');

GRANT SELECT, INSERT, UPDATE ON colorant, product, sheen, base TO secondcan_app;
GRANT SELECT, INSERT, UPDATE, DELETE ON base_room TO secondcan_app;
GRANT SELECT, UPDATE ON verdict_limits TO secondcan_app;
