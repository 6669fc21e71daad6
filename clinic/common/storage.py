"""Static files under names that change with their content."""

from django.contrib.staticfiles.storage import ManifestStaticFilesStorage


class ManifestStorage(ManifestStaticFilesStorage):
    """Leaves source-map comments alone: the packages name maps that they do not all carry."""

    patterns = tuple(
        (suffix, tuple(p for p in patterns if "sourceMappingURL" not in str(p)))
        for suffix, patterns in ManifestStaticFilesStorage.patterns
    )
