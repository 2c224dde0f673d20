#!/bin/bash
# One backup a day, as docs/backup.md has it, in the container `backup` of docker-compose.yml:
# rows first, then files. A day's folder shares its unchanged films with the day before.
#
# Reads PGHOST PGUSER PGPASSWORD PGDATABASE, and DATA, BACKUPS, BACKUP_DAYS (how long a day is
# kept). `backup.sh once` makes one and ends.
set -euo pipefail
data=${DATA:-/data} backups=${BACKUPS:-/backups} days=${BACKUP_DAYS:-30}

back_up() {
    local day made last
    day=$(date -u +%Y-%m-%d)
    mkdir -p "$backups"
    made="$backups/$day.part" last=$(newest)
    rm -rf "$made"
    mkdir -p "$made/media"
    pg_dump --format custom --no-owner --file "$made/rows.dump"
    if [ -n "$last" ]; then cp -rl "$last/media" "$made/"; fi
    # What was erased since is in no later backup; what is new is copied.
    (cd "$made/media" && find . -type f | while read -r file; do
        [ -e "$data/media/$file" ] || rm "$file"
    done)
    (cd "$data/media" && find . -type f | while read -r file; do
        [ -e "$made/media/$file" ] && continue
        mkdir -p "$made/media/$(dirname "$file")"
        cp -p "$file" "$made/media/$file" || [ ! -e "$file" ]  # it went meanwhile
    done)
    (cd "$made" && sha256sum rows.dump >SHA256SUMS)
    rm -rf "${backups:?}/$day"
    mv "$made" "$backups/$day"
    find "$backups" -mindepth 1 -maxdepth 1 -type d -mtime "+$days" -exec rm -rf {} +
    echo "backed up: $backups/$day"
}

newest() { find "$backups" -mindepth 1 -maxdepth 1 -type d -name '????-??-??' | sort | tail -1; }

if [ "${1:-}" = once ]; then back_up; exit; fi
while true; do
    back_up || echo "the backup of today failed; the next try is in an hour" >&2
    # `-mmin -1380`: a day's backup that is younger than 23 hours is enough.
    while [ -n "$(find "$backups" -mindepth 1 -maxdepth 1 -name '????-??-??' -mmin -1380)" ]; do
        sleep 600
    done
    sleep 3600
done
