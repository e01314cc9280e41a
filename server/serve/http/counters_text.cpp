/// Hub::metrics: text exposition format 0.0.4 (name, optional labels, value; HELP and TYPE before each family).
#include <fmt/format.h>

#include "server/serve/stream/hub.hpp"

namespace turnstone {
namespace {

class Exposition {
  public:
    void family(std::string_view name, std::string_view type, std::string_view help) {
        out_ += fmt::format("# HELP {} {}\n# TYPE {} {}\n", name, help, name, type);
    }
    template <class T>
    void value(std::string_view name, T number) {
        out_ += fmt::format("{} {}\n", name, number);
    }
    template <class T>
    void value(std::string_view name, std::string_view label, std::string_view label_value, T number) {
        out_ += fmt::format("{}{{{}=\"{}\"}} {}\n", name, label, escaped(label_value), number);
    }
    template <class T>
    void single(std::string_view name, std::string_view type, std::string_view help, T number) {
        family(name, type, help);
        value(name, number);
    }
    [[nodiscard]] std::string take() { return std::move(out_); }
    std::string& text() { return out_; }

  private:
    /// Label values escape backslash, double quote and line feed.
    static std::string escaped(std::string_view text) {
        std::string out;
        for (const char c : text)
            if (c == '\n')
                out += "\\n";
            else if (c == '\\' || c == '"')
                out += std::string{'\\', c};
            else
                out += c;
        return out;
    }
    std::string out_;
};

} // namespace

std::string Hub::metrics() const {
    Exposition out;
    const auto counter = [&](std::string_view name, std::string_view help, std::uint64_t value) {
        out.single(name, "counter", help, value);
    };
    const auto gauge = [&](std::string_view name, std::string_view help, auto value) {
        out.single(name, "gauge", help, value);
    };

    out.family("turnstone_http_answers_total", "counter", "HTTP answers by class of status.");
    for (std::size_t digit = 1; digit < counters_.http_answers.size(); ++digit)
        out.value("turnstone_http_answers_total", "class", fmt::format("{}xx", digit), counters_.http_answers[digit]);
    gauge("turnstone_viewers", "Connected viewers.", viewers_.size());
    counter("turnstone_viewers_accepted_total", "Viewers that connected.", counters_.viewers_accepted);
    counter("turnstone_viewers_refused_total", "Viewers turned away: too many, or Host or Origin not allowed.",
            counters_.viewers_refused);
    counter("turnstone_viewers_closed_slow_total", "Viewers closed with 4408.", counters_.closed_slow);
    counter("turnstone_viewers_fell_behind_total", "Times a viewer passed the soft limit of its queue.",
            counters_.fell_behind);
    counter("turnstone_blocks_made_total", "Block messages of the live tape.", counters_.blocks_made);
    counter("turnstone_blocks_left_out_total", "Block messages left out for slow viewers.", counters_.blocks_left_out);
    counter("turnstone_coalesced_total", "Newest-values messages sent in their place.", counters_.coalesced);
    counter("turnstone_stream_messages_total", "Messages sent to viewers.", counters_.messages_sent);
    counter("turnstone_stream_bytes_total", "Octets sent to viewers.", counters_.bytes_sent);
    counter("turnstone_publish_dropped_total", "Updates that the serve thread was too late for.",
            counters_.batches_dropped);
    counter("turnstone_operator_refusals_total", "Operator keys refused.", counters_.operator_refusals);
    gauge("turnstone_reads_waiting", "Reads of recordings that wait for a thread.", workers_.waiting());

    const RecorderStatus recorder = sources_.recorder();
    gauge("turnstone_recorder_recording", "1 while a recording is open.", recorder.recording ? 1 : 0);
    gauge("turnstone_recorder_fault", "1 while the recorder reports a fault.", recorder.fault.empty() ? 0 : 1);
    gauge("turnstone_recorder_queue_bytes", "Waiting to be written.", recorder.queue_bytes);
    gauge("turnstone_recorder_file_bytes", "Size of the live recording.", recorder.file_bytes);
    gauge("turnstone_recorder_disk_free_bytes", "Free space where recordings are kept.", recorder.disk_free_bytes);
    gauge("turnstone_recorder_commit_seconds_max", "Longest commit.", recorder.commit_ms_max * 1e-3);
    counter("turnstone_recorder_dropped_batches_total", "Batches that found the recorder's queue full.",
            recorder.batches_dropped);
    counter("turnstone_recorder_dropped_bytes_total", "Octets that missed the file.", recorder.bytes_dropped);
    counter("turnstone_recorder_rows_total", "Rows written.", recorder.rows_written);
    counter("turnstone_recorder_commits_total", "Commits.", recorder.commits);

    const auto links = sources_.links();
    out.family("turnstone_link_bytes_total", "counter", "Octets received by link.");
    for (const LinkView& link : links) out.value("turnstone_link_bytes_total", "link", link.name, link.bytes);
    out.family("turnstone_link_open", "gauge", "1 while the link is open and bytes come.");
    for (const LinkView& link : links)
        out.value("turnstone_link_open", "link", link.name, link.state == LinkState::open ? 1 : 0);
    if (sources_.metrics) out.text() += sources_.metrics();
    return out.take();
}

} // namespace turnstone
