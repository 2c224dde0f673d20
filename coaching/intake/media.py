"""Clips, stills and voices over HTTP: in ranges, privately, to those who may see them.

Ranges follow RFC 9110 §14: one range gives 206, one that cannot be met 416, several at
once or none the whole (a server may ignore Range). `MEDIA_ACCEL_PREFIX` hands the sending
over to nginx (X-Accel-Redirect); a storage without local paths is asked for a signed
address instead.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import IO, Any
from urllib.parse import quote

from django.conf import settings
from django.db.models.fields.files import FieldFile
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase, StreamingHttpResponse
from django.http.response import HttpResponseNotModified, HttpResponseRedirect

PIECE = 64 * 1024
KEPT_S = 3600  # by the reader's own browser, for seeking
# A redirect to a signed address: whoever loses the right asks in vain after this.
REDIRECT_KEPT_S = 300
_RANGE = re.compile(r"bytes=([0-9]{0,18})-([0-9]{0,18})$")


def serve(
    request: HttpRequest,
    file: FieldFile,
    *,
    filename: str,
    content_type: str,
    download: bool = False,
    kept: bool = True,
) -> HttpResponseBase:
    """Send `file`; the caller has checked that the reader may have it.

    `filename` is ours, plain ASCII, never a name that somebody typed. What is not `kept` stays
    in no browser either.
    """
    if not file:
        raise Http404
    kind = "attachment" if download else "inline"
    told = f'{kind}; filename="{filename}"'
    # Nobody between us and the reader keeps it; the reader's own browser may.
    keeping = f"private, max-age={KEPT_S}" if kept else "private, no-store"
    response = _sent(request, file, content_type=content_type, disposition=told, keeping=keeping)
    if isinstance(response, HttpResponseRedirect):
        # Well before the signature ends, or a film stops in the middle.
        most = min(REDIRECT_KEPT_S, getattr(file.storage, "querystring_expire", 0) // 2)
        keeping = f"private, max-age={most}" if kept else keeping
    else:
        response["Content-Disposition"] = told
        response["X-Content-Type-Options"] = "nosniff"
    response["Cache-Control"] = keeping
    response["Vary"] = "Cookie"
    return response


def _sent(
    request: HttpRequest, file: FieldFile, *, content_type: str, disposition: str, keeping: str
) -> HttpResponseBase:
    try:
        file.path  # noqa: B018  a storage without local paths says so here
    except NotImplementedError:
        # The signature covers how it is sent: nobody can open another's original in a page.
        signed = {
            "ResponseContentDisposition": disposition,
            "ResponseContentType": content_type,
            "ResponseCacheControl": keeping,
        }
        # Only the storage of S3 signs, and it takes what is to be signed.
        url = file.storage.url(str(file.name), parameters=signed)  # type: ignore[call-arg]
        return HttpResponseRedirect(url)
    if settings.MEDIA_ACCEL_PREFIX:
        handed = HttpResponse(content_type=content_type)
        handed["X-Accel-Redirect"] = settings.MEDIA_ACCEL_PREFIX + quote(str(file.name))
        return handed
    try:
        source = file.storage.open(str(file.name), "rb")
        size = file.size
    except FileNotFoundError:
        raise Http404 from None
    return _ranged(request, source, size=size, tag=f'"{file.name}"', content_type=content_type)


def _ranged(
    request: HttpRequest, source: IO[bytes] | Any, *, size: int, tag: str, content_type: str
) -> HttpResponseBase:
    response: HttpResponseBase
    asked = wanted_range(request.headers.get("Range", ""), size)
    if request.headers.get("If-Range", tag) != tag:
        asked = None  # another file than the reader had: the whole
    if request.headers.get("If-None-Match") == tag:
        source.close()
        response = HttpResponseNotModified()
    elif asked == (0, 0):
        source.close()
        response = HttpResponse(status=416, headers={"Content-Range": f"bytes */{size}"})
    else:
        start, stop = asked or (0, size)
        body = () if request.method == "HEAD" else _pieces(source, start, stop)
        if request.method == "HEAD":
            source.close()
        response = StreamingHttpResponse(
            body, status=206 if asked else 200, content_type=content_type
        )
        response["Content-Length"] = str(stop - start)
        if asked:
            response["Content-Range"] = f"bytes {start}-{stop - 1}/{size}"
    response["Accept-Ranges"] = "bytes"
    response["ETag"] = tag
    return response


def wanted_range(header: str, size: int) -> tuple[int, int] | None:
    """Start and stop (exclusive) of a single byte range; (0, 0) when it cannot be met.

    None when there is no range, or one that may be ignored: malformed, or several.
    """
    match = _RANGE.match(header.strip())
    if not match or match.groups() == ("", ""):
        return None
    first, last = match.groups()
    if not first:  # the last so many bytes
        return (max(size - int(last), 0), size) if int(last) and size else (0, 0)
    start = int(first)
    if last and int(last) < start:
        return None  # RFC 9110 §14.1.1: invalid, so ignored
    if start >= size:
        return (0, 0)
    return start, min(int(last) + 1, size) if last else size


def _pieces(source: IO[bytes], start: int, stop: int) -> Iterator[bytes]:
    with source:
        source.seek(start)
        left = stop - start
        while left > 0 and (piece := source.read(min(PIECE, left))):
            left -= len(piece)
            yield piece
