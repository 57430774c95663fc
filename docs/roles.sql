-- Roles and database for a Postgres (15 or newer) that you run yourself.
-- The server's private Postgres is set up the same way by itself.
--
-- Run as superuser; running it again mends and changes nothing else:
--   psql -d postgres -v owner_password=… -v app_password=… -f docs/roles.sql
-- Without -v both are taken from the environment: SECONDCAN_OWNER_PASSWORD,
-- SECONDCAN_APP_PASSWORD. -v database=… gives the database another name.
--
-- Then start the server with
--   DATABASE_OWNER_URL=postgres://secondcan_owner:…@HOST/secondcan  (migrates)
--   DATABASE_URL=postgres://secondcan_app:…@HOST/secondcan          (serves)

\set ON_ERROR_STOP on
\if :{?owner_password}
\else
\getenv owner_password SECONDCAN_OWNER_PASSWORD
\endif
\if :{?app_password}
\else
\getenv app_password SECONDCAN_APP_PASSWORD
\endif

\if :{?database}
\else
\set database secondcan
\endif

SET password_encryption = 'scram-sha-256';

-- The owner of every table: migrates, backs up, restores.
SELECT 'CREATE ROLE secondcan_owner'
 WHERE NOT EXISTS (SELECT FROM pg_roles WHERE rolname = 'secondcan_owner') \gexec
ALTER ROLE secondcan_owner LOGIN NOSUPERUSER NOCREATEDB NOCREATEROLE NOREPLICATION NOBYPASSRLS
  PASSWORD :'owner_password';

-- The role that serves: owns nothing; migrations grant it what it needs.
SELECT 'CREATE ROLE secondcan_app'
 WHERE NOT EXISTS (SELECT FROM pg_roles WHERE rolname = 'secondcan_app') \gexec
ALTER ROLE secondcan_app LOGIN NOSUPERUSER NOCREATEDB NOCREATEROLE NOREPLICATION NOBYPASSRLS
  PASSWORD :'app_password';

-- UTF8, or the name search loses umlauts and Cyrillic.
SELECT format('CREATE DATABASE %I OWNER secondcan_owner TEMPLATE template0 '
              'ENCODING ''UTF8'' LOCALE ''C.UTF-8''', :'database')
 WHERE NOT EXISTS (SELECT FROM pg_database WHERE datname = :'database') \gexec

-- A temporary table with the change log's trigger attached could forge a row.
REVOKE TEMP, CREATE ON DATABASE :"database" FROM PUBLIC;
GRANT CONNECT ON DATABASE :"database" TO secondcan_app;

\connect :"database"
ALTER SCHEMA public OWNER TO secondcan_owner;
