/* A host of the element in C, for tests: plays the pipeline in argv[1] and prints what each frame carries where it
 * reaches the element called "end": its time in ns, t_s and withers_x_px of the landmarks, the number of events, and
 * the kind of the first one or "-". */
#include <gst/gst.h>

static GstPadProbeReturn look(GstPad *pad, GstPadProbeInfo *info, gpointer data) {
    GstBuffer *buffer = GST_PAD_PROBE_INFO_BUFFER(info);
    GstCustomMeta *meta = gst_buffer_get_custom_meta(buffer, "pawfall");
    const GstStructure *words = meta ? gst_custom_meta_get_structure(meta) : NULL;
    const GValue *landmarks = words ? gst_structure_get_value(words, "landmarks") : NULL;
    const GValue *events = words ? gst_structure_get_value(words, "events") : NULL;
    guint count = events ? gst_value_array_get_size(events) : 0;
    const gchar *kind = "-";
    gdouble t_s = -1, x_px = -1;
    if (landmarks) {
        gst_structure_get_double(gst_value_get_structure(landmarks), "t_s", &t_s);
        gst_structure_get_double(gst_value_get_structure(landmarks), "withers_x_px", &x_px);
    }
    if (count)
        kind = gst_structure_get_string(gst_value_get_structure(gst_value_array_get_value(events, 0)), "kind");
    g_print("%" G_GUINT64_FORMAT "|%.9f|%.9f|%u|%s\n", GST_BUFFER_PTS(buffer), t_s, x_px, count, kind);
    return GST_PAD_PROBE_OK;
}

int main(int argc, char **argv) {
    gst_init(&argc, &argv);
    GstElement *pipeline = gst_parse_launch(argv[1], NULL), *end = gst_bin_get_by_name(GST_BIN(pipeline), "end");
    GstPad *pad = gst_element_get_static_pad(end, "sink");
    gst_pad_add_probe(pad, GST_PAD_PROBE_TYPE_BUFFER, look, NULL, NULL);
    gst_element_set_state(pipeline, GST_STATE_PLAYING);
    GstBus *bus = gst_element_get_bus(pipeline);
    GstMessage *last = gst_bus_timed_pop_filtered(bus, 180 * GST_SECOND, GST_MESSAGE_EOS | GST_MESSAGE_ERROR);
    gboolean well = last && GST_MESSAGE_TYPE(last) == GST_MESSAGE_EOS;
    gst_element_set_state(pipeline, GST_STATE_NULL);
    gst_clear_message(&last);
    gst_object_unref(bus);
    gst_object_unref(pad);
    gst_object_unref(end);
    gst_object_unref(pipeline);
    return well ? 0 : 1;
}
