#include "server/serve/encode/counters_text.hpp"

#include <cstdint>
#include <utility>

#include <fmt/format.h>

namespace turnstone {
namespace {

/// Backslash, double quote and line feed are escaped in label values.
std::string escaped(std::string_view text) {
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

/// Metric families one after another, each with its metadata before its samples.
class Exposition {
  public:
    /// A unit has to end the family's name, so it is found there.
    void family(std::string_view name, std::string_view type, std::string_view help) {
        out_ += fmt::format("# TYPE {} {}\n", name, type);
        for (const std::string_view unit : {"bytes", "seconds"})
            if (name.ends_with(fmt::format("_{}", unit))) out_ += fmt::format("# UNIT {} {}\n", name, unit);
        out_ += fmt::format("# HELP {} {}\n", name, help);
    }
    template <class T>
    void sample(std::string_view name, T value) {
        out_ += fmt::format("{} {}\n", name, value);
    }
    /// `labels` in braces.
    template <class T>
    void sample(std::string_view name, std::string_view labels, T value) {
        out_ += fmt::format("{}{{{}}} {}\n", name, labels, value);
    }
    void counter(std::string_view name, std::string_view help, std::uint64_t value) {
        family(name, "counter", help);
        sample(fmt::format("{}_total", name), value);
    }
    template <class T>
    void gauge(std::string_view name, std::string_view help, T value) {
        family(name, "gauge", help);
        sample(name, value);
    }
    [[nodiscard]] std::string end() {
        out_ += "# EOF\n";
        return std::move(out_);
    }

  private:
    std::string out_;
};

void add_serve(Exposition& out, const ServeCounters& serve, std::size_t reads_waiting) {
    out.family("turnstone_http_answers", "counter", "HTTP answers by class of status.");
    for (std::size_t digit = 1; digit < serve.http_answers.size(); ++digit)
        out.sample("turnstone_http_answers_total", fmt::format("class=\"{}xx\"", digit), serve.http_answers[digit]);
    out.counter("turnstone_operator_refusals", "Operator keys refused.", serve.operator_refusals);
    out.gauge("turnstone_viewers", "Connected viewers.", serve.viewers);
    out.counter("turnstone_viewers_accepted", "Viewers that connected.", serve.viewers_accepted);
    out.counter("turnstone_viewers_refused", "Viewers turned away: limit reached, or Host or Origin not allowed.",
                serve.viewers_refused);
    out.counter("turnstone_viewers_closed_slow", "Viewers closed with 4408.", serve.closed_slow);
    out.counter("turnstone_viewers_fell_behind", "Times a viewer passed the soft limit of its queue.",
                serve.fell_behind);
    out.counter("turnstone_blocks_made", "Block messages of the live recording.", serve.blocks_made);
    out.counter("turnstone_blocks_left_out", "Block messages left out for slow viewers.", serve.blocks_left_out);
    out.counter("turnstone_coalesced", "Newest-values messages sent in their place.", serve.coalesced);
    out.counter("turnstone_stream_messages", "Messages sent to viewers.", serve.messages_sent);
    out.counter("turnstone_stream_bytes", "Bytes sent to viewers.", serve.bytes_sent);
    out.counter("turnstone_publish_dropped", "Updates left out of the stream because the server stalled.",
                serve.batches_dropped);
    out.gauge("turnstone_reads_waiting", "Reads of recordings that wait for a thread.", reads_waiting);
}

void add_budgets(Exposition& out, const Budgets& budgets) {
    const auto samples = [&](std::string_view name, auto value) {
        for (std::size_t i = 0; i < kBudgets; ++i)
            out.sample(name, fmt::format("budget=\"{}\"", kWords<Budget>[i]), value(static_cast<Budget>(i)));
    };
    out.family("turnstone_budget_used", "gauge", "What visitors use at this moment.");
    samples("turnstone_budget_used", [&](Budget budget) { return budgets.used(budget); });
    out.family("turnstone_budget_most", "gauge", "What they may use together.");
    samples("turnstone_budget_most", [&](Budget budget) { return budgets.limit(budget).in_all; });
    out.family("turnstone_budget_refusals", "counter", "What was refused because too much was in use.");
    samples("turnstone_budget_refusals_total", [&](Budget budget) { return budgets.refusals(budget); });
}

void add_recorder(Exposition& out, const RecorderStatus& recorder) {
    out.gauge("turnstone_recorder_recording", "1 while a recording is open.", recorder.recording ? 1 : 0);
    out.gauge("turnstone_recorder_fault", "1 while the recorder reports a fault.", recorder.fault.empty() ? 0 : 1);
    out.gauge("turnstone_recorder_queue_bytes", "Waiting to be written.", recorder.queue_bytes);
    out.gauge("turnstone_recorder_file_bytes", "Size of the live recording.", recorder.file_bytes);
    out.gauge("turnstone_recorder_disk_free_bytes", "Free space where recordings are kept.", recorder.disk_free_bytes);
    out.gauge("turnstone_recorder_commit_max_seconds", "Longest commit.", recorder.commit_ms_max * 1e-3);
    out.counter("turnstone_recorder_dropped_batches", "Batches that found the recorder's queue full.",
                recorder.dropped.inputs);
    out.counter("turnstone_recorder_dropped_bytes", "Bytes that missed the file.", recorder.dropped.bytes);
    out.counter("turnstone_recorder_dropped_rows", "Derived rows left out; reprocessing makes them again.",
                recorder.dropped.rows);
    out.counter("turnstone_recorder_rows", "Rows written.", recorder.rows_written);
    out.counter("turnstone_recorder_commits", "Commits.", recorder.commits);
}

void add_links(Exposition& out, const std::vector<LinkView>& links) {
    out.family("turnstone_link_bytes", "counter", "Bytes received by link.");
    for (const LinkView& link : links)
        out.sample("turnstone_link_bytes_total", fmt::format("link=\"{}\"", escaped(link.name)), link.bytes);
    constexpr std::string_view kState = "turnstone_link_state";
    out.family(kState, "stateset", "State of the link.");
    for (const LinkView& link : links)
        for (const std::string_view state : kWords<LinkState>)
            out.sample(kState, fmt::format("link=\"{}\",{}=\"{}\"", escaped(link.name), kState, state),
                       word(link.state) == state ? 1 : 0);
}

} // namespace

std::string counters_text(const ServeCounters& serve, const Budgets& budgets, std::size_t reads_waiting,
                          const RecorderStatus& recorder, const std::vector<LinkView>& links) {
    Exposition out;
    add_serve(out, serve, reads_waiting);
    add_budgets(out, budgets);
    add_recorder(out, recorder);
    add_links(out, links);
    return out.end();
}

} // namespace turnstone
