"""What can go wrong with a video. Each error has a stable `code` and says whether
trying again can help; the sentences for people live in `coaching`."""


class AnalysisError(Exception):
    """Base of everything the measuring raises about a clip."""

    code = "internal"
    permanent = True


class UnreadableVideo(AnalysisError):
    """The file holds no video that can be decoded."""

    code = "unreadable"


class VideoTooShort(AnalysisError):
    """Fewer than two frames."""

    code = "too_short"


class VideoTooLong(AnalysisError):
    """Longer than the three minutes that are accepted."""

    code = "too_long"


class TooHeavy(AnalysisError):
    """The clip has stopped every process that opened it, or asked for more memory than is given."""

    code = "too_heavy"


class MediaMissing(AnalysisError):
    """The stored file cannot be opened now; storage may come back."""

    code = "media_missing"
    permanent = False


class MediaErased(AnalysisError):
    """The clip's files were erased at somebody's wish; there is nothing left to measure."""

    code = "erased"


class StorageAway(AnalysisError):
    """The storage does not answer; it will come back, so nobody gives up soon."""

    code = "storage_away"
    permanent = False


class StorageFull(AnalysisError):
    """What came out could not be kept; room may be made."""

    code = "disk_full"
    permanent = False
