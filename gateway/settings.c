#include "settings.h"

#include <stdlib.h>
#include <string.h>

#define TEXT(section, name, standard, most, help)                                                  \
    {                                                                                              \
        section, name, WP_CONFIG_TEXT, 0, most, standard, "", help                                 \
    }
#define FLAG(section, name, standard, help)                                                        \
    {                                                                                              \
        section, name, WP_CONFIG_BOOL, 0, 0, standard, "", help                                    \
    }

static const struct wp_config_key keys[] = {
    TEXT("gateway", "public_url", "", 190,
         "How people and agents reach the gateway; empty: made of host and port."),
    TEXT("gateway", "certificate", "", 190,
         "PEM file of the certificate and its chain; empty: the gateway makes its own."),
    TEXT("gateway", "key", "", 190, "PEM file of the certificate's key."),
    FLAG("gateway", "plain_anywhere", "no",
         "Allow --plain on an address that other machines reach."),
    FLAG("gateway", "behind_proxy", "no",
         "Believe X-Forwarded-For when the connection comes from this machine."),
    TEXT("gateway", "timezone", "", 64,
         "Time zone of printed times, such as Europe/Vienna; empty: the machine's."),
    {"gateway", "readers", WP_CONFIG_INT, 1, 16, "2", "threads", "Threads that read the database."},
    {"gateway", "compute", WP_CONFIG_INT, 0, 64, "0", "threads",
     "Threads that compute; 0: one for each core."},
    {"limits", "connections", WP_CONFIG_INT, 16, 65536, "2048", "connections",
     "Open connections at most."},
    {"limits", "body_memory", WP_CONFIG_SIZE, 4194304, INT64_C(4294967296), "64 MiB", "",
     "Memory for all request bodies together; beyond it they go to files or wait."},
    {"limits", "capture", WP_CONFIG_SIZE, 65536, INT64_C(1073741824), "256 MiB", "",
     "The largest file an agent may send."},
    {"bench", "change", WP_CONFIG_DURATION, 0, INT64_C(600000000), "90 s", "",
     "A file saved this close to a change of turns is asked about at the bench."},
    {"bench", "silence", WP_CONFIG_DURATION, INT64_C(60000000), INT64_C(86400000000), "20 min", "",
     "A turn silent for this long is asked about."},
    {"bench", "open", WP_CONFIG_DURATION, INT64_C(5000000), INT64_C(3600000000), "90 s", "",
     "A spectrum nobody touched at the bench is kept, and not printed, after this time."},
    TEXT("mail", "url", "", 190,
         "Mail server, smtp://host:port or smtps://host:port; empty: no mail."),
    FLAG("mail", "require_tls", "yes", "Send nothing without STARTTLS or smtps."),
    TEXT("mail", "user", "", 120, "Name to sign in with; empty: none."),
    TEXT("mail", "password_file", "", 190, "File whose first line is the password."),
    TEXT("mail", "ca_file", "", 190, "PEM file of trusted roots; empty: the system's."),
    TEXT("mail", "from", "", 190, "Address of the sender."),
    TEXT("mail", "from_name", "Teaching laboratory", 120, "Name of the sender."),
    TEXT("mail", "reply_to", "", 190, "Address for replies; empty: none."),
    TEXT("mail", "sub_address", "", 1,
         "The character that parts a name from a sub-address, +, where the mail server of `from` "
         "takes those: a mail that comes back is then known by whom it comes to; empty: by its "
         "Message-ID alone."),
    TEXT("mail", "returned_url", "", 190,
         "Mailbox of `from`, imaps://host:port or imap://host:port, where mail that bounces later "
         "comes back to; empty: none is read."),
    TEXT("mail", "returned_folder", "INBOX", 60, "Folder of that mailbox."),
    TEXT("mail", "returned_user", "", 120, "Name to sign in with there."),
    TEXT("mail", "returned_password_file", "", 190, "File whose first line is the password there."),
    {"mail", "returned_every", WP_CONFIG_DURATION, INT64_C(100000), INT64_C(86400000000), "2 min",
     "", "How often that mailbox is looked into."},
    TEXT("openid", "issuer", "", 190,
         "The site's OpenID Connect provider, https://...; empty: none."),
    TEXT("openid", "client_id", "", 190, "Our name at the provider."),
    TEXT("openid", "client_secret_file", "", 190,
         "File whose first line is our secret there; empty: a public client."),
    TEXT("openid", "claim", "preferred_username", 64, "The claim that names the person."),
    TEXT("openid", "match", "login", 8, "What the claim is here: login (sign-in name) or email."),
    TEXT("openid", "algorithm", "RS256", 8, "What the provider signs with: RS256, PS256 or ES256."),
    TEXT("openid", "scope", "openid profile email", 120, "What is asked of the provider."),
    TEXT("openid", "ca_file", "", 190, "PEM file of trusted roots; empty: the system's."),
    TEXT("openid", "button", "Sign in with your college account", 64, "What the button says."),
};
#define KEY_COUNT (sizeof keys / sizeof keys[0])

static enum wp_status parse_listen(const char *text, struct wp_settings *settings,
                                   struct wp_error *error)
{
    const char *colon = strrchr(text, ':');
    size_t length = colon ? (size_t)(colon - text) : 0;
    bool brackets = length > 2 && text[0] == '[' && text[length - 1] == ']';
    const char *host = brackets ? text + 1 : text;
    length -= brackets ? 2 : 0;
    char *end = NULL;
    unsigned long port = colon && colon[1] ? strtoul(colon + 1, &end, 10) : 65536;
    if (length == 0 || length >= sizeof settings->host || port > 65535 || !end || *end ||
        (!brackets && memchr(host, ':', length)))
        return wp_fail(error, WP_INVALID,
                       "--listen %s: expected HOST:PORT, such as 0.0.0.0:8443 or [::]:8443.", text);
    snprintf(settings->host, sizeof settings->host, "%.*s", (int)length, host);
    settings->port = (unsigned)port;
    return WP_OK;
}

static bool is_loopback(const char *host)
{
    return !strncmp(host, "127.", 4) || !strcmp(host, "::1") || !strcmp(host, "localhost");
}

static enum wp_status check(const struct wp_settings *settings, struct wp_error *error)
{
    bool certificate = wp_config_text(settings->config, "gateway", "certificate")[0] != '\0';
    bool key = wp_config_text(settings->config, "gateway", "key")[0] != '\0';
    if (certificate != key)
        return wp_fail(error, WP_INVALID, "[gateway] certificate and key belong together.");
    const char *match = wp_config_text(settings->config, "openid", "match");
    if (strcmp(match, "login") != 0 && strcmp(match, "email") != 0)
        return wp_fail(error, WP_INVALID, "[openid] match is login or email.");
    if (settings->plain && !is_loopback(settings->host) &&
        !wp_config_bool(settings->config, "gateway", "plain_anywhere"))
        return wp_fail(error, WP_INVALID,
                       "--plain is for this machine alone; [gateway] plain_anywhere = yes allows "
                       "it on %s.",
                       settings->host);
    return WP_OK;
}

enum wp_status wp_settings_read(const struct wp_command_line *line, struct wp_settings *settings,
                                struct wp_error *error)
{
    memset(settings, 0, sizeof *settings);
    settings->data = line->data;
    settings->plain = line->plain;
    enum wp_status status = parse_listen(line->listen, settings, error);
    if (!status)
        status = wp_config_new(keys, KEY_COUNT, &settings->config, error);
    if (!status && line->config)
        status = wp_config_read(settings->config, line->config, error);
    return status ? status : check(settings, error);
}

void wp_settings_describe(FILE *file)
{
    struct wp_bytes text;
    wp_bytes_init(&text, (size_t)64 * 1024);
    if (wp_config_describe(keys, KEY_COUNT, &text) == WP_OK)
        fputs(text.data, file);
    wp_bytes_release(&text);
}

void wp_settings_release(struct wp_settings *settings)
{
    wp_config_free(settings->config);
    settings->config = NULL;
}
