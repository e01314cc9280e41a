#include "server/serve/jobs.hpp"

#include <algorithm>
#include <charconv>
#include <exception>
#include <utility>

#include <fmt/format.h>

namespace turnstone {

namespace {

/// The number in "j7"; 0: it is not the id of a job.
std::uint64_t number_of(std::string_view id) {
    std::uint64_t number = 0;
    if (id.size() < 2 || id.size() > 20 || id[0] != 'j') return 0;
    const auto [end, error] = std::from_chars(id.data() + 1, id.data() + id.size(), number);
    return error == std::errc() && end == id.data() + id.size() ? number : 0;
}

bool has_ended(JobState state) {
    return state != JobState::waiting && state != JobState::working;
}

} // namespace

Result<std::string> Jobs::begin(const JobKind& kind, const Client& client, nlohmann::json request) {
    auto place = budgets_.take(Budget::jobs, client);
    if (!place) return tl::unexpected(place.error());
    const auto job = std::make_shared<Job>();
    job->kind = &kind;
    job->address = client.address;
    job->place = std::move(*place);
    {
        const std::lock_guard lock(mutex_);
        if (ending_) return fail("the server is shutting down");
        forget_old(Clock::now());
        job->id = fmt::format("j{}", ++begun_);
        jobs_.emplace(begun_, job);
    }
    const auto taken = workers_.submit(Lane::jobs, client,
                                       [this, job, request = std::move(request)](ReaderCache&) { run(*job, request); });
    if (taken) return job->id;
    const std::lock_guard lock(mutex_);
    jobs_.erase(number_of(job->id));
    return tl::unexpected(taken.error());
}

void Jobs::run(Job& job, const nlohmann::json& request) {
    {
        const std::lock_guard lock(mutex_);
        if (has_ended(job.state)) return; // stopped while it waited
        job.state = JobState::working;
    }
    const debrief::Advance advance = [&job](double fraction) {
        job.fraction = std::clamp(fraction, 0.0, 1.0);
        return !job.asked_to_stop;
    };
    try {
        const auto made = job.kind->run(recordings_, request, advance);
        if (!made) {
            end(job, job.asked_to_stop ? JobState::stopped : JobState::failed, nullptr, made.error().message);
            return;
        }
        // NaN becomes null, bytes that are not UTF-8 become U+FFFD.
        auto text =
            std::make_shared<const std::string>(made->dump(-1, ' ', false, nlohmann::json::error_handler_t::replace));
        if (text->size() > kResultBytesMax)
            end(job, JobState::failed, nullptr,
                fmt::format("the result has {:.0f} MiB, at most {} MiB are kept; ask for fewer flights",
                            static_cast<double>(text->size()) / (1 << 20), kResultBytesMax >> 20));
        else
            end(job, JobState::done, std::move(text), "");
    } catch (const std::exception& failure) {
        end(job, JobState::failed, nullptr, failure.what());
    }
}

void Jobs::end(Job& job, JobState state, std::shared_ptr<const std::string> result, std::string error) {
    const std::lock_guard lock(mutex_);
    job.state = state;
    if (state == JobState::done) job.fraction = 1;
    job.result = std::move(result);
    job.error = std::move(error);
    job.ended_at = Clock::now();
    job.place.end();
    forget_old(job.ended_at);
}

void Jobs::forget_old(Clock::time_point now) {
    std::erase_if(jobs_, [&](const auto& entry) {
        return has_ended(entry.second->state) && now - entry.second->ended_at >= kKept;
    });
    std::size_t bytes = 0; // the newest first
    for (auto at = jobs_.rbegin(); at != jobs_.rend(); ++at) {
        if (!at->second->result) continue;
        bytes += at->second->result->size();
        if (bytes <= kResultsBytesMax) continue;
        at->second->result.reset();
        at->second->state = JobState::failed;
        at->second->error = "the result gave way to newer ones; ask again";
    }
}

std::optional<JobView> Jobs::look(const std::string& id, Clock::time_point now) {
    const std::lock_guard lock(mutex_);
    forget_old(now);
    const auto found = jobs_.find(number_of(id));
    if (found == jobs_.end()) return std::nullopt;
    const Job& job = *found->second;
    return JobView{.id = job.id,
                   .kind = job.kind->name,
                   .state = job.state,
                   .fraction = job.fraction,
                   .result = job.result,
                   .error = job.error};
}

Jobs::StopVerdict Jobs::stop(const std::string& id, const Client& client) {
    const std::lock_guard lock(mutex_);
    const auto found = jobs_.find(number_of(id));
    if (found == jobs_.end()) return StopVerdict::unknown;
    Job& job = *found->second;
    if (!client.is_operator && job.address != client.address) return StopVerdict::of_another;
    if (has_ended(job.state)) {
        jobs_.erase(found);
        return StopVerdict::stopped;
    }
    job.asked_to_stop = true;
    if (job.state == JobState::waiting) {
        job.state = JobState::stopped;
        job.error = "stopped";
        job.ended_at = Clock::now();
        job.place.end();
    }
    return StopVerdict::stopped;
}

void Jobs::stop_all() {
    const std::lock_guard lock(mutex_);
    ending_ = true;
    for (const auto& [number, job] : jobs_) job->asked_to_stop = true;
}

} // namespace turnstone
