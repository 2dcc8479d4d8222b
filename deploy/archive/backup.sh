#!/bin/sh
# A copy of an archive's whole database server, by PostgreSQL's own tools: backup.sh FOLDER [HOW-MANY]. Run as a user that may replicate; where
# the server is, and as whom, stands in PGHOST, PGPORT and PGUSER. A copy is checked against its list of check sums before it counts; the newest
# HOW-MANY (7) stay. A copy is a data folder: start a server of the same version on it, then run `warmwell archive verify FILE --anew`.
set -eu
folder=${1:?where the copies go: backup.sh FOLDER [HOW-MANY]}
keep=${2:-7}
case $keep in
'' | *[!0-9]* | 0) echo "backup.sh: HOW-MANY is '$keep'; expected a number from 1 on. Correct it." >&2; exit 2 ;;
esac
[ -d "$folder" ] || { echo "backup.sh: $folder is no folder; expected one on another disk. Make it, or mount it." >&2; exit 2; }
bin=${PGBIN:-$(pg_config --bindir)}
name=$folder/archive-$(date -u +%Y%m%dT%H%M%SZ)
umask 077
rm -rf "$folder"/archive-*.part
"$bin/pg_basebackup" --pgdata="$name.part" --wal-method=stream --checkpoint=fast --manifest-checksums=SHA256
"$bin/pg_verifybackup" --quiet "$name.part"
mv "$name.part" "$name"
# names hold the time: their order is that of the copies
find "$folder" -maxdepth 1 -type d -name 'archive-*Z' | sort -r | tail -n "+$((keep + 1))" | while IFS= read -r old; do
    rm -rf "$old"
done
echo "$name"
