#!/usr/bin/env bash
# Signs what is handed on, and checks it: a folder of deploy/stick.sh, or any folder with packages in it.
#
#   bash deploy/release.sh key KEY             make a key to sign with: KEY, which asks for a passphrase, and KEY.pub to hand out
#   bash deploy/release.sh sign KEY FOLDER     sign FOLDER's SHA256SUMS (made where there is none yet) into SHA256SUMS.sig
#   bash deploy/release.sh check PUB FOLDER    whether every file is as the owner of the public key PUB signed it, and no other is there
#
# KEY stays with whoever makes releases, on no board and in no checkout. PUB goes to each board once, by another way than the releases:
# deploy/install.md, Whose releases a board takes. Made with openssl 3, Ed25519; the signature's form stands in deploy/sums.sh.
# WARMWELL_PASSPHRASE holds the passphrase where nobody is there to type it. Exit codes: 0 done; 2 refused.
set -euo pipefail
here=$(cd "$(dirname "${BASH_SOURCE[0]}")" && pwd -P)
# shellcheck source=deploy/environment.sh
. "$here/environment.sh"
# shellcheck source=deploy/sums.sh
. "$here/sums.sh"

[ "${1:-}" != --help ] || { sed -n '2,/^set -/{/^#/s/^# \{0,1\}//p}' "${BASH_SOURCE[0]}" && exit 0; }
usage="key KEY, sign KEY FOLDER or check PUB FOLDER"
case ${1:-} in key) count=2 ;; sign | check) count=3 ;; *) refuse "release.sh" "'${1:-}' is nothing that it does" "$usage" "Say bash deploy/release.sh --help" ;; esac
[ $# -eq "$count" ] || refuse "release.sh" "it was given $# words" "$usage" "Say bash deploy/release.sh --help"
command -v openssl >/dev/null 2>&1 || refuse "openssl" "it isn't installed" "it, to sign and to check" "Run 'apt install openssl'"
key=$2 folder=${3:-}
asked() { [ -z "${WARMWELL_PASSPHRASE:-}" ] || printf '%s\n' "$1" env:WARMWELL_PASSPHRASE; } # openssl asks at the terminal otherwise
if [ "$1" = key ]; then
    { [ ! -e "$key" ] && [ ! -e "$key.pub" ]; } || refuse "$key" "it is there already" "a new name" "Name another: what was signed with a lost key can't be told from what wasn't"
    mapfile -t pass < <(asked -pass)
    (umask 077 && openssl genpkey -algorithm ed25519 -aes256 "${pass[@]}" -out "$key" 2>/dev/null) || refuse "$key" "no key could be made" "a passphrase of four characters or more, and a folder that can be written" "Try again"
else
    [ -f "$key" ] || refuse "$key" "there is no such file" "a key of release.sh" "Correct its name"
    [ -d "$folder" ] || refuse "$folder" "it is no folder" "what is handed on" "Correct its name"
fi
mapfile -t pass < <(asked -passin)
case $1 in
    key)
        openssl pkey -in "$key" "${pass[@]}" -pubout -out "$key.pub" 2>/dev/null || refuse "$key" "its public half could not be written" "the same passphrase as before" "Remove it, and try again"
        _say "written: $key, and $key.pub with the fingerprint $(fingerprint "$key.pub")"
        ;;
    sign)
        work=$(mktemp -d)
        trap 'rm -rf "$work"' EXIT
        if [ ! -e "$folder/SHA256SUMS" ]; then
            (cd "$folder" && listed . | tr '\n' '\0' | xargs -0 -r sha256sum >"$work/sums" && cp "$work/sums" SHA256SUMS)
        fi
        whole "$folder"
        openssl pkeyutl -sign -inkey "$key" "${pass[@]}" -rawin -in "$folder/SHA256SUMS" -out "$work/sig" 2>/dev/null || refuse "$key" "it doesn't sign" "a private key of release.sh, and its passphrase" "Try again"
        cp "$work/sig" "$folder/SHA256SUMS.sig"
        _say "signed: $folder. Check it with the public half: bash deploy/release.sh check $key.pub $folder"
        ;;
    check)
        [ -s "$folder/SHA256SUMS" ] || refuse "$folder" "SHA256SUMS isn't there" "the list of its files" "Get the whole folder"
        signed_by "$key" "$folder"
        whole "$folder"
        _say "as it was signed: $folder, by the key with the fingerprint $(fingerprint "$key")"
        ;;
esac
