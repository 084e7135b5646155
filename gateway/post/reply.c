/* What a mail server's answer means: RFC 3463 (enhanced codes), RFC 5321 section 4.2, RFC 4954. */
#include <stdio.h>
#include <string.h>

#include "base/clock.h"
#include "enhanced.h"
#include "post/post.h"
#include "post/report.h"

static bool is_digit(char letter)
{
    return letter >= '0' && letter <= '9';
}

bool wp_enhanced_find(const char *text, struct wp_enhanced *found)
{
    for (const char *at = text; at != NULL && *at != '\0'; at++) {
        if (at != text && (is_digit(at[-1]) || at[-1] == '.'))
            continue;
        int used = 0;
        struct wp_enhanced code;
        if ((*at != '2' && *at != '4' && *at != '5') || at[1] != '.' || !is_digit(at[2]))
            continue;
        if (sscanf(at, "%1d.%3d.%3d%n", &code.class, &code.subject, &code.detail, &used) != 3)
            continue;
        if (is_digit(at[used]) || at[used] == '.' || code.subject > 7)
            continue;
        *found = code;
        return true;
    }
    return false;
}

/* The server does not let us in: the administrator mends it, and then the mail goes. */
static bool is_our_sign_in(long code)
{
    return code == 530 || code == 534 || code == 535 || code == 538;
}

enum wp_reply wp_reply_class(enum wp_status status, long code, const char *text)
{
    struct wp_enhanced enhanced;
    if (is_our_sign_in(code))
        return WP_REPLY_TEMPORARY;
    if (code >= 400 && wp_enhanced_find(text, &enhanced))
        return enhanced.class == 5 ? WP_REPLY_PERMANENT : WP_REPLY_TEMPORARY;
    if (code >= 500)
        return WP_REPLY_PERMANENT;
    if (code >= 400)
        return WP_REPLY_TEMPORARY;
    if (status == WP_INVALID || status == WP_TOO_LARGE)
        return WP_REPLY_PERMANENT;
    return status == WP_OK && code >= 200 && code < 300 ? WP_REPLY_TAKEN : WP_REPLY_TEMPORARY;
}

const char *wp_reply_meaning(long code, const char *text)
{
    static const struct {
        int subject;
        int detail; /* -1: any */
        const char *meaning;
    } table[] = {
        {1, 1, "The mailbox does not exist."},
        {1, 2, "The mail domain does not exist."},
        {1, 3, "The mail address is not one."},
        {1, 6, "The mailbox has moved."},
        {1, 10, "The mail domain takes no mail."},
        {1, 7, "The mail server refuses the gateway's sender address."},
        {1, 8, "The mail server refuses the gateway's sender address."},
        {2, 1, "The mailbox is closed."},
        {2, 2, "The mailbox is full."},
        {2, 3, "The mail is too large for the mailbox."},
        {3, 1, "The mail server's disk is full."},
        {3, 2, "The mail server takes no mail now."},
        {3, 4, "The mail is too large for the mail server."},
        {4, -1, "The mail server cannot reach the mailbox."},
        {5, 3, "The mail server says there are too many recipients."},
        {6, -1, "The mail server cannot handle this kind of mail."},
        {7, 8, "The mail server does not let the gateway sign in."},
        {7, -1, "The mail server's rules refuse the mail."},
    };
    struct wp_enhanced enhanced;
    if (is_our_sign_in(code))
        return "The mail server does not let the gateway sign in.";
    if (wp_enhanced_find(text, &enhanced))
        for (size_t i = 0; i < sizeof table / sizeof *table; i++)
            if (table[i].subject == enhanced.subject &&
                (table[i].detail == enhanced.detail || table[i].detail < 0))
                return table[i].meaning;
    if (code == 0)
        return "The mail server cannot be reached.";
    if (code == 550)
        return "The mail server refuses the mailbox.";
    if (code == 552)
        return "The mail server has no room for the mail.";
    return code >= 500 ? "The mail server refuses the mail." : "The mail server asks us to wait.";
}

bool wp_reply_is_final(const char *text)
{
    static const struct {
        int subject;
        int detail;
    } table[] = {{1, 1}, {1, 2}, {1, 3}, {1, 6}, {1, 10}, {2, 1}};
    struct wp_enhanced code;
    if (!wp_enhanced_find(text, &code) || code.class != 5)
        return false;
    for (size_t i = 0; i < sizeof table / sizeof *table; i++)
        if (table[i].subject == code.subject && table[i].detail == code.detail)
            return true;
    return false;
}

int64_t wp_post_backoff_us(int attempt)
{
    static const int minutes[] = {1, 5, 15, 30};
    if (attempt < 1 || attempt >= WP_POST_ATTEMPTS)
        return 0;
    size_t step = (size_t)attempt - 1;
    return step < sizeof minutes / sizeof *minutes ? minutes[step] * WP_MINUTE : WP_HOUR;
}
