# The service as one static file in an empty image.
#
#   docker build --build-arg VERSION=$(git describe --always --dirty) -t enbloc .
#   docker run -p 8700:8700 -v enbloc-data:/data \
#     -v /path/token:/run/secrets/token:ro enbloc serve --token-file /run/secrets/token
#
# A container is reached through its network address, so serve refuses to start
# without a token. /data holds the store and the identity key: back both up.

FROM golang:1.26 AS build
WORKDIR /src
COPY go.mod go.sum ./
RUN go mod download
COPY . .
# Names the program in every record; the repository itself stays outside.
ARG VERSION=unversioned
# No C: the SQLite engine is Go, so the file runs without a system library.
RUN CGO_ENABLED=0 go build -trimpath -ldflags="-s -w -X enbloc/cmd/enbloc/internal/cli.release=$VERSION" -o /out/enbloc ./cmd/enbloc
# Beside it roots for https to the target, an empty folder that belongs to the
# user below, so that a new volume does too, and a place for what SQLite spills
# and for the demo.
RUN mkdir -p /out/etc/ssl/certs /out/data /out/tmp && cp /etc/ssl/certs/ca-certificates.crt /out/etc/ssl/certs/ \
 && chown 65532:65532 /out/data && chmod 700 /out/data && chmod 1777 /out/tmp

FROM scratch
# All at once: of a folder that is copied itself, COPY drops owner and mode, of
# the folders in it it keeps them (https://github.com/moby/moby/issues/38710).
COPY --from=build /out/ /
USER 65532:65532
VOLUME /data
ENV ENBLOC_DATA=/data ENBLOC_LISTEN=0.0.0.0:8700
EXPOSE 8700
# Ready, not only alive: the store can be written. It asks over loopback and
# needs no token.
HEALTHCHECK --interval=15s --timeout=5s --start-period=20s CMD ["/enbloc", "health", "--server", "http://127.0.0.1:8700"]
ENTRYPOINT ["/enbloc"]
CMD ["serve"]
