"""Django's settings: one file for the embedded default and for production, told apart by the environment alone."""

from pathlib import Path

from labqueue import environment

ROOT = Path(__file__).resolve().parent.parent
PRODUCTION = environment.production()
EMBEDDED = not PRODUCTION

STORAGE_DIR = environment.folder("STORAGE_DIR", None if PRODUCTION else str(ROOT / "var"))
SECRET_KEY = environment.secret("SECRET_KEY", keep_in=None if PRODUCTION else STORAGE_DIR / "secret-key")
ALLOWED_HOSTS = environment.hosts("ALLOWED_HOSTS", None if PRODUCTION else "127.0.0.1,localhost,[::1]")
DATABASES = {"default": environment.database("DATABASE_URL", None if PRODUCTION else STORAGE_DIR / "labqueue.sqlite3")}
REDIS_URL = environment.broker("REDIS_URL", None if PRODUCTION else f"redis+socket://{STORAGE_DIR / 'broker.sock'}")

# The laboratory itself, as it is printed and as its clock runs.
TIME_ZONE = environment.time_zone("TIME_ZONE", None if PRODUCTION else "America/New_York")
LAB_NAME = environment.text("LAB_NAME", None if PRODUCTION else "Tidewater Bench Laboratory")
LAB_ADDRESS = environment.text("LAB_ADDRESS", None if PRODUCTION else "12 Kiln Lane, Harbour Quarter")
LAB_REGISTRATION = environment.text("LAB_REGISTRATION", None if PRODUCTION else "not registered (demonstration)")
CURRENCY = environment.currency("CURRENCY", None if PRODUCTION else "USD")
# Tax on invoices in hundredths of a per cent, and what an invoice says where there is none.
LAB_TAX_RATE = environment.basis_points("LAB_TAX_RATE", 0)
LAB_TAX_EXEMPTION = environment.text("LAB_TAX_EXEMPTION", "dental prostheses from a dental laboratory")

DEBUG = False
USE_TZ = True
LANGUAGE_CODE = "en"
ROOT_URLCONF = "labqueue.urls"
WSGI_APPLICATION = "labqueue.wsgi.application"
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

INSTALLED_APPS = [
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.staticfiles",
    "rest_framework",
    "drf_spectacular",
    "django_htmx",
    "axes",
    "labqueue.base",
    "orders",
    "labqueue.production",
    "labqueue.planning",
    "shipping",
    "labqueue",
]

MIDDLEWARE = [
    *(["labqueue.base.proxy.BehindProxy"] if PRODUCTION else []),
    "labqueue.base.headers.ContentSecurityPolicy",
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
    "labqueue.base.uploads.Door",
    "labqueue.base.plain_text.PlainText",
    "labqueue.base.pages.RefusalPages",
    "labqueue.guard.Gate",
    "axes.middleware.AxesMiddleware",
]

TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "labqueue.base.pages.laboratory",
                "labqueue.home.navigation",
            ],
            "builtins": ["labqueue.base.templatetags.house"],
        },
    }
]

# People
AUTH_USER_MODEL = "base.User"
AUTHENTICATION_BACKENDS = ["axes.backends.AxesStandaloneBackend", "django.contrib.auth.backends.ModelBackend"]
PASSWORD_HASHERS = [
    "django.contrib.auth.hashers.Argon2PasswordHasher",
    "django.contrib.auth.hashers.PBKDF2PasswordHasher",
]
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator"},
    {"NAME": "django.contrib.auth.password_validation.MinimumLengthValidator", "OPTIONS": {"min_length": 12}},
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
]
LOGIN_URL = "sign-in"
LOGIN_REDIRECT_URL = "home"
LOGOUT_REDIRECT_URL = "sign-in"
# A stranger can only slow down himself: failures are counted for the pair of account and network.
AXES_LOCKOUT_PARAMETERS = [["username", "ip_address"]]
AXES_FAILURE_LIMIT = 8
AXES_COOLOFF_TIME = 0.25
AXES_VERBOSE = False
AXES_LOCKOUT_TEMPLATE = "base/locked.html"

# Mail: printed by the worker, unless there is a server that sends it. `globals` are the settings.
EMAIL_BACKEND = "django.core.mail.backends.console.EmailBackend"
EMAIL_TIMEOUT = 20
DEFAULT_FROM_EMAIL = "laboratory@localhost"
globals().update(environment.mail("SMTP_URL", "MAIL_FROM"))

# Browser
CSRF_FAILURE_VIEW = "labqueue.guard.forged"
SESSION_COOKIE_AGE = 12 * 3600
SESSION_COOKIE_HTTPONLY = True
SESSION_COOKIE_SAMESITE = "Lax"
SECURE_REFERRER_POLICY = "same-origin"
X_FRAME_OPTIONS = "DENY"
if PRODUCTION:
    SESSION_COOKIE_NAME = "__Host-session"
    CSRF_COOKIE_NAME = "__Host-csrf"
    SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = SECURE_SSL_REDIRECT = True
    SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")
    SECURE_HSTS_SECONDS = 365 * 24 * 3600
    SECURE_HSTS_INCLUDE_SUBDOMAINS = SECURE_HSTS_PRELOAD = True

# Files
STATIC_URL = "static/"
STATIC_ROOT = environment.folder_in(STORAGE_DIR, "static")
STORAGES = {
    "default": {
        "BACKEND": "django.core.files.storage.FileSystemStorage",
        "OPTIONS": {"location": STORAGE_DIR / "files"},
    },
    "staticfiles": {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"},
}
WHITENOISE_USE_FINDERS = True
# A body is at most this large, in bytes; at the addresses of files it may be as large as a file and what is around it.
DATA_UPLOAD_MAX_MEMORY_SIZE = 1_000_000
UPLOAD_ADDRESSES = frozenset({"orders:files", "api:files"})
UPLOAD_MAX_FILE = 200_000_000
UPLOAD_MAX_BODY = 2 * UPLOAD_MAX_FILE
DATA_UPLOAD_MAX_NUMBER_FILES = 1
FILE_UPLOAD_HANDLERS = ["labqueue.base.uploads.Capped"]
FILE_UPLOAD_TEMP_DIR = environment.folder_in(STORAGE_DIR, "incoming")

# Interface for programs
REST_FRAMEWORK = {
    "DEFAULT_AUTHENTICATION_CLASSES": ["labqueue.base.api.BearerToken", "labqueue.base.api.Session"],
    "DEFAULT_PERMISSION_CLASSES": ["labqueue.access.ByTable"],
    "DEFAULT_RENDERER_CLASSES": ["rest_framework.renderers.JSONRenderer"],
    "DEFAULT_PARSER_CLASSES": ["labqueue.base.plain_text.PlainJSON"],
    "DEFAULT_PAGINATION_CLASS": "labqueue.base.api.NewestFirst",
    "DEFAULT_SCHEMA_CLASS": "labqueue.base.schema.HouseSchema",
    "EXCEPTION_HANDLER": "labqueue.base.problems.handler",
    "PAGE_SIZE": 50,
    "UNAUTHENTICATED_USER": "django.contrib.auth.models.AnonymousUser",
}
SPECTACULAR_SETTINGS = {
    "TITLE": "Laboratory work orders",
    "DESCRIPTION": "Orders, floor, planning and shipping of a laboratory for implant abutments and crowns.",
    "VERSION": "1",
    "OAS_VERSION": "3.1.1",
    "SERVE_INCLUDE_SCHEMA": False,
    "SCHEMA_PATH_PREFIX": "/api/v1",
    "POSTPROCESSING_HOOKS": [
        "drf_spectacular.hooks.postprocess_schema_enums",
        "labqueue.base.schema.document_problems",
    ],
}

LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {"line": {"format": "%(asctime)s %(levelname)s %(name)s %(message)s"}},
    "filters": {"feeds": {"()": "labqueue.base.masking.WithoutFeedAddresses"}},
    "handlers": {"console": {"class": "logging.StreamHandler", "formatter": "line", "filters": ["feeds"]}},
    "root": {"handlers": ["console"], "level": "WARNING"},
}
