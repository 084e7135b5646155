/* pictures.c - draws each kind of sheet into FOLDER/sheet-KIND.png, for docs/sheet.md. */
#include <stdio.h>

#include "fixture.h"

static int write_picture(struct wp_sheet_fonts *fonts, size_t index, const char *folder)
{
    struct fixture_kind *kind = fixture_kind_new(index);
    char path[1024];
    snprintf(path, sizeof path, "%s/sheet-%s.png", folder, kind->name);
    kind->input.options.dots_an_inch = 96;
    struct wp_bytes bytes;
    wp_bytes_init(&bytes, 16 << 20);
    struct wp_error error = {WP_OK, 0, 0, ""};
    int wrong = wp_sheet_render(fonts, &kind->input, WP_SHEET_PNG, &bytes, &error) != WP_OK;
    FILE *file = wrong ? NULL : fopen(path, "wb");
    if (file) {
        wrong = fwrite(bytes.data, 1, bytes.size, file) != bytes.size;
        wrong = fclose(file) != 0 || wrong;
    }
    if (wrong || !file)
        fprintf(stderr, "%s: cannot be drawn or written %s\n", path, error.text);
    wp_bytes_release(&bytes);
    fixture_kind_free(kind);
    return wrong || !file;
}

int main(int argc, char **argv)
{
    if (argc != 2) {
        fprintf(stderr, "usage: sheet_pictures FOLDER\n");
        return 2;
    }
    struct wp_sheet_fonts *fonts = fixture_fonts();
    int wrong = 0;
    for (size_t i = 0; i < FIXTURE_KINDS; i++)
        wrong |= write_picture(fonts, i, argv[1]);
    wp_sheet_fonts_free(fonts);
    return wrong;
}
