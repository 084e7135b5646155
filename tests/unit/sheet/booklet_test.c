/* A section's sheets in one file: index, outline, memory, and what happens when a part fails. */
#include <malloc.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#ifdef __SANITIZE_ADDRESS__
size_t __sanitizer_get_current_allocated_bytes(void); /* GCC ships no header for it */
#endif

#include "fixture.h"
#include "pdf_tools.h"

static size_t heap_in_use(void)
{
#ifdef __SANITIZE_ADDRESS__
    return __sanitizer_get_current_allocated_bytes();
#else
    return mallinfo2().uordblks;
#endif
}

struct section {
    struct fixture_kind *kinds[FIXTURE_KINDS];
    char persons[40];
    char accession[24];
    size_t opened, closed;
    size_t fail_at; /* 0: never */
    size_t heap_early, heap_late;
};

static enum wp_status entry(void *user, size_t index, struct wp_booklet_entry *line)
{
    struct section *section = user;
    snprintf(section->persons, sizeof section->persons, "Student %03zu", index + 1);
    snprintf(section->accession, sizeof section->accession, "%zu", 10000 + index);
    *line = (struct wp_booklet_entry){index % 7 == 6 ? "" : section->persons, "Ester",
                                      section->accession};
    return WP_OK;
}

static enum wp_status open_sheet(void *user, size_t index, struct wp_sheet_input *input)
{
    struct section *section = user;
    if (section->fail_at && index + 1 == section->fail_at)
        return WP_NOT_FOUND;
    /* A page's own size must not count for another's. */
    *input = section->kinds[index % 3]->input;
    section->opened++;
    return WP_OK;
}

static void close_sheet(void *user, size_t index, struct wp_sheet_input *input)
{
    struct section *section = user;
    (void)input;
    section->closed++;
    if (index == 49)
        section->heap_early = heap_in_use();
    if (index == 499)
        section->heap_late = heap_in_use();
}

static void section_make(struct section *section)
{
    memset(section, 0, sizeof *section);
    for (size_t i = 0; i < 3; i++)
        section->kinds[i] = fixture_kind_new(i);
}

static void section_release(struct section *section)
{
    for (size_t i = 0; i < 3; i++)
        fixture_kind_free(section->kinds[i]);
}

static struct wp_booklet booklet_of(struct section *section, size_t count)
{
    return (struct wp_booklet){.title = "Section 014, Experiment 6",
                               .subtitle = "Chem 231, spring",
                               .author_id = "staff-2",
                               .created_us = INT64_C(1773326000000000),
                               .count = count,
                               .user = section,
                               .entry = entry,
                               .open = open_sheet,
                               .close = close_sheet};
}

static enum wp_status keep(void *user, const void *data, size_t size)
{
    return wp_bytes_add(user, data, size);
}

static enum wp_status count_only(void *user, const void *data, size_t size)
{
    (void)data;
    *(size_t *)user += size;
    return WP_OK;
}

static enum wp_status full_after_100000(void *user, const void *data, size_t size)
{
    (void)data;
    *(size_t *)user += size;
    return *(size_t *)user > 100000 ? WP_FULL : WP_OK;
}

static void says(const char *text, const char *words)
{
    if (!strstr(text, words))
        fail_msg("\"%s\" is not in:\n%.2000s", words, text);
}

static void a_booklet_has_an_index_an_outline_and_all_sheets(void **state)
{
    (void)state;
    struct wp_sheet_fonts *fonts = fixture_fonts();
    struct section section;
    section_make(&section);
    struct wp_booklet booklet = booklet_of(&section, 9);
    struct wp_bytes bytes;
    wp_bytes_init(&bytes, 64 << 20);
    assert_int_equal(wp_sheet_booklet(fonts, &booklet, keep, &bytes, NULL), WP_OK);
    assert_int_equal(section.opened, 9);
    assert_int_equal(section.closed, 9);
    char *check = pdf_tool(&bytes, "qpdf --check", "");
    says(check, "No syntax or stream encoding errors found");
    char *info = pdf_tool(&bytes, "pdfinfo", "");
    says(info, "Pages:           10");
    says(info, "Title:           Section 014, Experiment 6");
    char *index = pdf_tool(&bytes, "pdftotext -raw -l 1", "-");
    says(index, "Section 014, Experiment 6");
    says(index, "9 sheets");
    says(index, "Student 009");
    says(index, "Unclaimed");
    says(index, "10008");
    char *last = pdf_tool(&bytes, "pdftotext -raw -f 10 -l 10", "-");
    says(last, "20461X");
    /* The outline and its places, as qpdf reads them. */
    char *json = pdf_tool(&bytes, "qpdf --json=1 --json-key=outlines", "");
    says(json, "Student 001, Ester");
    says(json, "\"destpageposfrom1\": 2");
    says(json, "Student 009, Ester");
    says(json, "\"destpageposfrom1\": 10");
    free(json);
    free(last);
    free(index);
    free(info);
    free(check);
    wp_bytes_release(&bytes);
    section_release(&section);
    wp_sheet_fonts_free(fonts);
}

static void five_hundred_sheets_take_no_more_memory_than_fifty(void **state)
{
    (void)state;
    struct wp_sheet_fonts *fonts = fixture_fonts();
    struct section section;
    section_make(&section);
    struct wp_booklet booklet = booklet_of(&section, 500);
    size_t written = 0;
    assert_int_equal(wp_sheet_booklet(fonts, &booklet, count_only, &written, NULL), WP_OK);
    assert_true(written > 500 * 5000);
    assert_true(section.heap_early > 0);
    size_t growth =
        section.heap_late > section.heap_early ? section.heap_late - section.heap_early : 0;
    printf("%zu bytes written, heap grew by %zu bytes from sheet 50 to sheet 500\n", written,
           growth);
    /* The outline and the table of pages, far below a page's 10 KB of content. */
    assert_true(growth < 450 * 2000);
    section_release(&section);
    wp_sheet_fonts_free(fonts);
}

static void the_same_booklet_gives_the_same_bytes(void **state)
{
    (void)state;
    struct wp_sheet_fonts *fonts = fixture_fonts();
    struct section section;
    section_make(&section);
    struct wp_booklet booklet = booklet_of(&section, 5);
    struct wp_bytes a;
    struct wp_bytes b;
    wp_bytes_init(&a, 64 << 20);
    wp_bytes_init(&b, 64 << 20);
    assert_int_equal(wp_sheet_booklet(fonts, &booklet, keep, &a, NULL), WP_OK);
    assert_int_equal(wp_sheet_booklet(fonts, &booklet, keep, &b, NULL), WP_OK);
    assert_int_equal(a.size, b.size);
    assert_memory_equal(a.data, b.data, a.size);
    wp_bytes_release(&a);
    wp_bytes_release(&b);
    section_release(&section);
    wp_sheet_fonts_free(fonts);
}

static void a_failure_stops_the_booklet_and_is_named(void **state)
{
    (void)state;
    struct wp_sheet_fonts *fonts = fixture_fonts();
    struct section section;
    section_make(&section);
    struct wp_booklet booklet = booklet_of(&section, 9);
    struct wp_error error;
    size_t written = 0;
    section.fail_at = 4;
    assert_int_equal(wp_sheet_booklet(fonts, &booklet, count_only, &written, &error), WP_NOT_FOUND);
    says(error.text, "sheet 4");
    assert_int_equal(section.opened, 3);
    assert_int_equal(section.closed, 3);
    section.fail_at = 0;
    written = 0;
    booklet = booklet_of(&section, 60);
    assert_int_equal(wp_sheet_booklet(fonts, &booklet, full_after_100000, &written, &error),
                     WP_FULL);
    assert_true(section.opened < 40);
    assert_int_equal(section.opened, section.closed);
    booklet.count = 0;
    assert_int_equal(wp_sheet_booklet(fonts, &booklet, count_only, &written, &error), WP_INVALID);
    booklet.count = WP_BOOKLET_MOST + 1;
    assert_int_equal(wp_sheet_booklet(fonts, &booklet, count_only, &written, &error), WP_INVALID);
    section_release(&section);
    wp_sheet_fonts_free(fonts);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_booklet_has_an_index_an_outline_and_all_sheets),
        cmocka_unit_test(the_same_booklet_gives_the_same_bytes),
        cmocka_unit_test(five_hundred_sheets_take_no_more_memory_than_fifty),
        cmocka_unit_test(a_failure_stops_the_booklet_and_is_named),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
