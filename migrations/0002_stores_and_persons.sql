-- Why: everybody works under a login of their own. A session is what logout, suspension and a role change end;
-- tokens only point to it. No password is stored, only its argon2id hash; no token, only its SHA-256.

CREATE TABLE store (
    id           uuid PRIMARY KEY,
    name         text NOT NULL UNIQUE,
    phone_region text NOT NULL,
    closed_at    timestamptz,
    version      integer NOT NULL DEFAULT 1,
    created_at   timestamptz NOT NULL DEFAULT now()
);

CREATE TABLE person (
    id              uuid PRIMARY KEY,
    login           text NOT NULL UNIQUE,
    display_name    text NOT NULL,
    roles           text[] NOT NULL,
    password_hash   text,
    password_set_at timestamptz,
    suspended_at    timestamptz,
    version         integer NOT NULL DEFAULT 1,
    created_by      uuid REFERENCES person,
    created_at      timestamptz NOT NULL DEFAULT now(),
    CONSTRAINT person_roles_known CHECK (
        cardinality(roles) > 0
        AND roles <@ ARRAY['clerk', 'contractor', 'manager', 'color_lead', 'admin']
    ),
    -- A contractor sees only customers linked to the login; a staff role beside it would undo that.
    CONSTRAINT contractor_stands_alone CHECK (NOT ('contractor' = ANY (roles)) OR cardinality(roles) = 1)
);

CREATE TABLE person_store (
    person_id uuid NOT NULL REFERENCES person ON DELETE CASCADE,
    store_id  uuid NOT NULL REFERENCES store,
    PRIMARY KEY (person_id, store_id)
);
CREATE INDEX person_store_by_store ON person_store (store_id);

CREATE TABLE session (
    id           uuid PRIMARY KEY,
    person_id    uuid NOT NULL REFERENCES person,
    store_id     uuid REFERENCES store,
    started_at   timestamptz NOT NULL DEFAULT now(),
    expires_at   timestamptz NOT NULL,
    ended_at     timestamptz,
    ended_reason text CHECK (ended_reason IN
        ('logout', 'suspended', 'roles-changed', 'password-changed', 'refresh-reused')),
    CHECK ((ended_at IS NULL) = (ended_reason IS NULL))
);
CREATE INDEX session_open_by_person ON session (person_id) WHERE ended_at IS NULL;

CREATE TABLE refresh_token (
    hash       bytea PRIMARY KEY,
    session_id uuid NOT NULL REFERENCES session,
    issued_at  timestamptz NOT NULL DEFAULT now(),
    used_at    timestamptz
);
CREATE INDEX refresh_token_by_session ON refresh_token (session_id);

-- A one-time token lets a person choose the first password, or a new one after a reset.
-- person_id is null for the token of `secondcan-server admin init`, which makes the admin's login.
CREATE TABLE claim_token (
    hash       bytea PRIMARY KEY,
    person_id  uuid REFERENCES person,
    made_by    uuid REFERENCES person,
    made_at    timestamptz NOT NULL DEFAULT now(),
    expires_at timestamptz NOT NULL,
    used_at    timestamptz
);

-- Growing delay per account and per address; the key is a hash, so that a login typed into the wrong field
-- (a password, say) is not kept.
CREATE TABLE login_throttle (
    key          bytea PRIMARY KEY,
    failures     integer NOT NULL,
    open_again_at timestamptz NOT NULL
);

-- Who opened another store's customer or match, and which logins failed.
CREATE TABLE access_log (
    id        bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
    at        timestamptz NOT NULL DEFAULT now(),
    person_id uuid REFERENCES person,
    store_id  uuid REFERENCES store,
    act       text NOT NULL CHECK (act IN ('customer-opened', 'match-opened', 'login-failed', 'refused')),
    entity_id uuid
);
CREATE INDEX access_log_by_time ON access_log (at, id);

-- A repeated request returns the stored answer; another request under the same key is refused.
-- Replies that carry a secret are stored without it.
CREATE TABLE receipt (
    person_id    uuid NOT NULL REFERENCES person,
    key          uuid NOT NULL,
    request_hash bytea NOT NULL,
    status       smallint NOT NULL,
    etag         text,
    location     text,
    body         text,
    at           timestamptz NOT NULL DEFAULT now(),
    PRIMARY KEY (person_id, key)
);
CREATE INDEX receipt_by_time ON receipt (at);

CREATE CONSTRAINT TRIGGER store_logged AFTER INSERT OR UPDATE OR DELETE ON store
    DEFERRABLE INITIALLY DEFERRED FOR EACH ROW EXECUTE FUNCTION log_change('store', 'none');
CREATE CONSTRAINT TRIGGER person_logged AFTER INSERT OR UPDATE OR DELETE ON person
    DEFERRABLE INITIALLY DEFERRED FOR EACH ROW EXECUTE FUNCTION log_change('person', 'none');

GRANT SELECT, INSERT, UPDATE ON store, person, session, refresh_token, claim_token TO secondcan_app;
GRANT SELECT, INSERT, DELETE ON person_store TO secondcan_app;
GRANT SELECT, INSERT, UPDATE, DELETE ON login_throttle TO secondcan_app;
GRANT SELECT, INSERT ON access_log TO secondcan_app;
GRANT SELECT, INSERT, DELETE ON receipt TO secondcan_app;
