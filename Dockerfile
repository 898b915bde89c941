# freshet in a container: one static program, no shell, no root.
#
#   docker build -t freshet .
#   docker run --network host -v freshet:/data freshet
#
# The pages are then at http://127.0.0.1:8137 of the machine that runs it. They
# are served to it alone until the owner has set a passphrase and switched the
# network on, which is why the container shares the machine's network. All
# records are in the volume. Any command can be given in place of serve:
#
#   docker run -v freshet:/data -v "$PWD:/files:ro" freshet import /files/drop-offs.csv

FROM golang:1.26-bookworm AS build
WORKDIR /src
COPY go.mod go.sum ./
RUN go mod download && go mod verify
COPY . .
RUN CGO_ENABLED=1 go build -trimpath -tags sqlite_omit_load_extension,netgo,osusergo \
      -ldflags '-s -w -linkmode external -extldflags "-static"' -o /out/freshet ./cmd/freshet \
 && mkdir -p /out/data /out/tmp

FROM scratch
COPY --from=build /etc/ssl/certs/ca-certificates.crt /etc/ssl/certs/
COPY --from=build /out/freshet /freshet
COPY --from=build --chown=65532:65532 /out/data /data
COPY --from=build --chown=65532:65532 /out/tmp /tmp
COPY LICENSE /
USER 65532:65532
ENV FRESHET_DB=/data/shop.db
VOLUME /data
EXPOSE 8137
HEALTHCHECK --interval=1h --timeout=5m CMD ["/freshet", "check"]
ENTRYPOINT ["/freshet"]
CMD ["serve"]
