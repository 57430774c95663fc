# The server for docker-compose.yml. It uses the Postgres beside it and has
# none of its own. Not run where it was written: no docker engine there.
FROM rust:1-bookworm AS build
WORKDIR /src
COPY . .
ENV SQLX_OFFLINE=true
RUN cargo build --release --locked -p secondcan-server

FROM debian:bookworm-slim
RUN useradd --system --user-group --uid 7310 --create-home --home-dir /var/lib/secondcan \
        --shell /usr/sbin/nologin secondcan \
    && chmod 700 /var/lib/secondcan
COPY --from=build /src/target/release/secondcan-server /usr/local/bin/
USER secondcan
VOLUME /var/lib/secondcan
ENV SECONDCAN_DATA=/var/lib/secondcan SECONDCAN_LOG_FORMAT=json
EXPOSE 7310
ENTRYPOINT ["secondcan-server"]
CMD ["serve"]
