-- Why: branches pull what changed, so every change must be readable in the order in which it became visible.
-- Numbers drawn inside a transaction and read by "seq > cursor" lose rows when transactions commit in another
-- order than they drew. Here the number is drawn at the very end of the transaction, under a lock that is held
-- until its commit, so order of numbers = order of commits.

CREATE EXTENSION IF NOT EXISTS pg_trgm;

-- One row: which database this is. restore_id changes on each restore, so that cursors of before are refused.
CREATE TABLE library (
    only_row   boolean PRIMARY KEY DEFAULT true CHECK (only_row),
    restore_id uuid NOT NULL DEFAULT gen_random_uuid(),
    made_at    timestamptz NOT NULL DEFAULT now()
);
INSERT INTO library DEFAULT VALUES;

-- Ids only, no payload: what a reader may see is decided when it reads the rows themselves.
-- tag: random, so that a cursor into a log that was rolled back under the server is recognized.
CREATE TABLE change_log (
    seq         bigint GENERATED ALWAYS AS IDENTITY (CACHE 1) PRIMARY KEY,
    tag         bigint NOT NULL,
    xid         xid8 NOT NULL DEFAULT pg_current_xact_id(),
    at          timestamptz NOT NULL DEFAULT clock_timestamp(),
    kind        text NOT NULL,
    customer_id uuid,
    store_id    uuid,
    entity_id   uuid NOT NULL,
    op          text NOT NULL CHECK (op IN ('insert', 'update', 'delete', 'erase'))
);
CREATE INDEX change_log_by_customer ON change_log (customer_id, seq);

-- Trigger arguments: the kind, then how to find the customer: 'none', 'self' (the row is the customer),
-- 'own' (column customer_id) or 'match' (through column match_id).
CREATE FUNCTION log_change() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
DECLARE
    changed  jsonb;
    customer uuid;
    operation text := lower(TG_OP);
BEGIN
    PERFORM pg_advisory_xact_lock(7310001);
    changed := to_jsonb(CASE WHEN TG_OP = 'DELETE' THEN OLD ELSE NEW END);
    customer := CASE TG_ARGV[1]
        WHEN 'self'  THEN (changed ->> 'id')::uuid
        WHEN 'own'   THEN (changed ->> 'customer_id')::uuid
        WHEN 'match' THEN (SELECT m.customer_id FROM public.match m WHERE m.id = (changed ->> 'match_id')::uuid)
    END;
    IF TG_OP = 'UPDATE' AND (to_jsonb(OLD) ->> 'erased_at') IS NULL AND (changed ->> 'erased_at') IS NOT NULL THEN
        operation := 'erase';
    END IF;
    INSERT INTO public.change_log (tag, kind, customer_id, store_id, entity_id, op)
    VALUES (
        ('x' || substr(replace(gen_random_uuid()::text, '-', ''), 17))::bit(64)::bigint,
        TG_ARGV[0], customer, (changed ->> 'store_id')::uuid, (changed ->> 'id')::uuid, operation
    );
    PERFORM pg_notify('secondcan_changes', '');
    RETURN NULL;
END $$;
REVOKE EXECUTE ON FUNCTION log_change() FROM PUBLIC;

-- Second line behind the grants: a table that holds facts is never rewritten, by whatever role.
CREATE FUNCTION refuse_rewrite() RETURNS trigger
LANGUAGE plpgsql SET search_path = pg_catalog, pg_temp AS $$
BEGIN
    RAISE EXCEPTION '% holds facts: rows are added, never changed or removed', TG_TABLE_NAME
        USING ERRCODE = 'restrict_violation';
END $$;
REVOKE EXECUTE ON FUNCTION refuse_rewrite() FROM PUBLIC;

GRANT USAGE ON SCHEMA public TO secondcan_app;
GRANT SELECT ON library, change_log TO secondcan_app;
