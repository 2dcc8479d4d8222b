# Sourced by deploy/install.sh, deploy/package.sh and deploy/release.sh: whether a folder is the one that was written, and by whom.
#
# SHA256SUMS lists every file of a folder but itself and its signature, SHA256SUMS.sig: 64 bytes, Ed25519 (RFC 8032) over SHA256SUMS
# as it stands. A public key is a file in PEM, as `openssl pkey -pubout` writes it. Needs deploy/environment.sh (its voice).

# Names of the files that SHA256SUMS has to list, in one order everywhere.
listed() (cd "$1" && find . ! -type d ! -path ./SHA256SUMS ! -path ./SHA256SUMS.sig -printf '%P\n' | LC_ALL=C sort)

# Refuse a folder in which a file was altered, is missing, or wasn't listed.
whole() {
    local folder=$1 altered others
    altered=$(cd "$folder" && LC_ALL=C sha256sum --quiet --strict -c SHA256SUMS 2>/dev/null | sed -n '1s/: FAILED.*//p') \
        || refuse "$folder" "a file isn't the one that was written (${altered:-SHA256SUMS itself})" "every file as in SHA256SUMS" "Write it anew"
    others=$(cut -c67- "$folder/SHA256SUMS" | LC_ALL=C sort | LC_ALL=C comm -13 - <(listed "$folder") | head -n 1)
    [ -z "$others" ] || refuse "$folder" "$others isn't in SHA256SUMS" "no file but those that were written" "Write it anew"
}

# Refuse a folder whose SHA256SUMS the owner of a public key hasn't signed: signed_by KEY FOLDER
signed_by() {
    command -v openssl >/dev/null 2>&1 || refuse "openssl" "it isn't installed" "it, to check who made a release" "Run 'apt install openssl'"
    [ -e "$2/SHA256SUMS.sig" ] || refuse "$2" "it isn't signed" "SHA256SUMS.sig by the key in $1" "Get the signed one"
    openssl pkeyutl -verify -pubin -inkey "$1" -rawin -in "$2/SHA256SUMS" -sigfile "$2/SHA256SUMS.sig" >/dev/null 2>&1 \
        || refuse "$2" "SHA256SUMS isn't as the owner of the key signed it" "a signature by the key in $1" "Don't use it; ask whoever handed it to you"
}

# What tells public keys apart for people: the SHA-256 of a key's DER form.
fingerprint() { openssl pkey -pubin -in "$1" -outform DER 2>/dev/null | sha256sum | cut -c1-64; }
