#include "link_mail.h"

#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "base/id.h"
#include "base/log.h"

#define MESSAGE_MOST (16 * 1024)

struct wp_link_mail {
    struct wp_post_options options;
    char public_url[256];
    char password[256];
    struct wp_mailbox_options mailbox; /* no URL: none is read */
    char mailbox_password[256];
    struct wp_http *http;
};

struct sending {
    struct wp_bytes message;
    int64_t person;
};

static enum wp_status read_password(const char *key, const char *path, char out[256],
                                    struct wp_error *error)
{
    FILE *file = fopen(path, "re");
    bool read = file && fgets(out, 256, file);
    if (file)
        (void)fclose(file);
    out[strcspn(out, "\r\n")] = '\0';
    return read ? WP_OK : wp_fail(error, WP_INVALID, "[mail] %s %s cannot be read.", key, path);
}

static const char *or_null(const char *text)
{
    return text[0] ? text : NULL;
}

static bool folder_usable(const char *folder)
{
    size_t size =
        strspn(folder, "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789._-");
    return size > 0 && folder[size] == '\0';
}

/* A host and perhaps a port; folder and message are added to it. */
static bool host_only(const char *url)
{
    bool tls = strncmp(url, "imaps://", 8) == 0;
    if (!tls && strncmp(url, "imap://", 7) != 0)
        return false;
    const char *host = url + (tls ? 8 : 7);
    return host[0] != '\0' && strpbrk(host, "/;@?# \"") == NULL;
}

static enum wp_status fill_mailbox(struct wp_link_mail *mail, const struct wp_config *config,
                                   struct wp_error *error)
{
    struct wp_mailbox_options *options = &mail->mailbox;
    options->url = wp_config_text(config, "mail", "returned_url");
    if (!options->url[0])
        return WP_OK;
    options->folder = wp_config_text(config, "mail", "returned_folder");
    options->require_tls = mail->options.require_tls;
    options->user = wp_config_text(config, "mail", "returned_user");
    options->password = mail->mailbox_password;
    options->ca_file = mail->options.ca_file;
    options->every_us = wp_config_int(config, "mail", "returned_every");
    if (!host_only(options->url))
        return wp_fail(error, WP_INVALID,
                       "[mail] returned_url must be imaps://host:port or imap://host:port.");
    if (!folder_usable(options->folder))
        return wp_fail(error, WP_INVALID,
                       "[mail] returned_folder may hold letters, digits and . _ - alone.");
    if (!options->user[0])
        return wp_fail(error, WP_INVALID, "[mail] returned_url needs returned_user.");
    return read_password("returned_password_file",
                         wp_config_text(config, "mail", "returned_password_file"),
                         mail->mailbox_password, error);
}

static enum wp_status fill(struct wp_link_mail *mail, const struct wp_config *config,
                           struct wp_error *error)
{
    struct wp_post_options *options = &mail->options;
    options->url = wp_config_text(config, "mail", "url");
    options->require_tls = wp_config_bool(config, "mail", "require_tls");
    options->user = or_null(wp_config_text(config, "mail", "user"));
    options->ca_file = or_null(wp_config_text(config, "mail", "ca_file"));
    options->from = wp_config_text(config, "mail", "from");
    options->from_name = or_null(wp_config_text(config, "mail", "from_name"));
    options->reply_to = or_null(wp_config_text(config, "mail", "reply_to"));
    options->sub_address = or_null(wp_config_text(config, "mail", "sub_address"));
    options->public_url = mail->public_url;
    options->password = mail->password;
    if (!wp_address_valid(options->from))
        return wp_fail(error, WP_INVALID, "[mail] from must be an address.");
    const char *path = wp_config_text(config, "mail", "password_file");
    enum wp_status status =
        path[0] ? read_password("password_file", path, mail->password, error) : WP_OK;
    return status ? status : fill_mailbox(mail, config, error);
}

enum wp_status wp_link_mail_new(const struct wp_config *config, const char *public_url,
                                uv_loop_t *loop, struct wp_link_mail **mail, struct wp_error *error)
{
    *mail = NULL;
    if (!wp_config_text(config, "mail", "url")[0])
        return WP_OK;
    struct wp_link_mail *made = calloc(1, sizeof *made);
    if (!made)
        return wp_fail(error, WP_NO_MEMORY, "There is no memory for mail.");
    snprintf(made->public_url, sizeof made->public_url, "%s", public_url);
    enum wp_status status = fill(made, config, error);
    struct wp_http_options http = {.connections = 1, .ca_file = made->options.ca_file};
    if (!status)
        made->http = wp_http_new(loop, &http);
    if (!status && !made->http)
        status = wp_fail(error, WP_NO_MEMORY, "There is no memory for mail.");
    if (status)
        free(made);
    else
        *mail = made;
    return status;
}

const struct wp_post_options *wp_link_mail_options(const struct wp_link_mail *mail)
{
    return mail ? &mail->options : NULL;
}

const struct wp_mailbox_options *wp_link_mail_mailbox(const struct wp_link_mail *mail)
{
    return mail && mail->mailbox.url[0] ? &mail->mailbox : NULL;
}

static void done_send(void *arg, const struct wp_http_answer *answer)
{
    struct sending *sending = arg;
    if (answer->status ||
        wp_reply_class(answer->status, answer->code, answer->body) != WP_REPLY_TAKEN)
        /* What the server said in words may repeat the address. */
        wp_log(WP_LOG_WARN, "mail", "sign-in link for person %" PRId64 " was not sent: %s %u",
               sending->person, answer->status ? answer->error.text : "the server answered",
               (unsigned)answer->code);
    wp_bytes_release(&sending->message);
    free(sending);
}

/* RFC 5322, ASCII alone: the link and the words around it need no encoding. */
static enum wp_status compose(const struct wp_link_mail *mail, const struct wp_link_wanted *wanted,
                              struct wp_bytes *out)
{
    char date[64];
    time_t now = time(NULL);
    struct tm utc;
    gmtime_r(&now, &utc);
    (void)strftime(date, sizeof date, "%a, %d %b %Y %H:%M:%S +0000", &utc);
    const char *domain = strchr(mail->options.from, '@') + 1;
    return wp_bytes_addf(
        out,
        "Date: %s\r\nFrom: <%s>\r\nTo: <%s>\r\nMessage-ID: <link-%" PRId64 "@%s>\r\n"
        "Subject: Your sign-in link\r\nAuto-Submitted: auto-generated\r\nMIME-Version: 1.0\r\n"
        "Content-Type: text/plain; charset=us-ascii\r\nContent-Transfer-Encoding: 7bit\r\n\r\n"
        "Follow this link within 15 minutes to sign in. It works once.\r\n\r\n"
        "%s/#/link/%s\r\n\r\n"
        "If you did not ask for it, nothing needs to be done.\r\n",
        date, mail->options.from, wanted->email, wp_id_next(), domain, mail->public_url,
        wanted->token);
}

void wp_link_mail_send(void *arg, const struct wp_link_wanted *wanted)
{
    struct wp_link_mail *mail = arg;
    struct sending *sending = calloc(1, sizeof *sending);
    if (!mail || !sending || !wp_address_valid(wanted->email)) {
        free(sending);
        return;
    }
    wp_bytes_init(&sending->message, MESSAGE_MOST);
    sending->person = wanted->person;
    enum wp_status status = compose(mail, wanted, &sending->message);
    if (!status)
        status = wp_post_send(mail->http, &mail->options, wanted->email, NULL, &sending->message,
                              done_send, sending);
    if (!status)
        return;
    wp_log(WP_LOG_WARN, "mail", "sign-in link for person %" PRId64 " was not sent: %s",
           wanted->person, wp_status_name(status));
    wp_bytes_release(&sending->message);
    free(sending);
}

void wp_link_mail_free(struct wp_link_mail *mail)
{
    if (!mail)
        return;
    wp_http_free(mail->http);
    free(mail);
}
