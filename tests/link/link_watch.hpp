#pragma once
/// Runs links on their own thread and keeps what they say.
#include <algorithm>
#include <chrono>
#include <condition_variable>
#include <mutex>
#include <string>
#include <thread>
#include <vector>

#include <boost/asio/executor_work_guard.hpp>
#include <boost/asio/io_context.hpp>
#include <boost/asio/post.hpp>
#include <catch2/catch.hpp>

#include "server/link/link.hpp"

namespace turnstone {

class LinkWatch {
  public:
    explicit LinkWatch(const std::string& uri, std::function<bool()> may_read = {})
        : LinkWatch(
              [&uri](boost::asio::io_context& context, LinkHandler handler) {
                  const auto parsed = parse_link_uri(uri);
                  REQUIRE(parsed);
                  return make_link(context, *parsed, std::move(handler));
              },
              std::move(may_read)) {}
    /// Of a link made in another way than by its URI.
    using Make = std::function<std::shared_ptr<Link>(boost::asio::io_context&, LinkHandler)>;
    explicit LinkWatch(const Make& make, std::function<bool()> may_read = {}) {
        link_ =
            make(context_, LinkHandler{.on_bytes =
                                           [this](std::int64_t, std::int64_t, std::span<const std::byte> bytes) {
                                               const std::lock_guard lock(mutex_);
                                               ++chunks_;
                                               text_.append(reinterpret_cast<const char*>(bytes.data()), bytes.size());
                                               changed_.notify_all();
                                           },
                                       .on_state =
                                           [this](std::int64_t, LinkState state, const std::string& detail) {
                                               const std::lock_guard lock(mutex_);
                                               states_.emplace_back(word(state));
                                               detail_ = detail;
                                               changed_.notify_all();
                                           },
                                       .may_read = std::move(may_read)});
        boost::asio::post(
            context_, [this] { link_->start(); });
        thread_ = std::thread([this] { context_.run(); });
    }
    ~LinkWatch() {
        boost::asio::post(context_, [this] {
            link_->stop();
            guard_.reset();
        });
        thread_.join();
    }
    LinkWatch(const LinkWatch&) = delete;
    LinkWatch& operator=(const LinkWatch&) = delete;

    /// Waits until the newest state is `state`; true when it came within `limit`.
    bool reaches(const std::string& state, std::chrono::milliseconds limit = std::chrono::seconds(10)) {
        return wait([&] { return !states_.empty() && states_.back() == state; }, limit);
    }
    bool receives(const std::string& text, std::chrono::milliseconds limit = std::chrono::seconds(10)) {
        return wait([&] { return text_ == text; }, limit);
    }
    bool receives_bytes(std::size_t count, std::chrono::milliseconds limit = std::chrono::seconds(10)) {
        return wait([&] { return text_.size() >= count; }, limit);
    }
    bool says(const std::string& detail, std::chrono::milliseconds limit = std::chrono::seconds(10)) {
        return wait([&] { return detail_ == detail; }, limit);
    }
    std::string text() {
        const std::lock_guard lock(mutex_);
        return text_;
    }
    std::string detail() {
        const std::lock_guard lock(mutex_);
        return detail_;
    }
    std::vector<std::string> states() {
        const std::lock_guard lock(mutex_);
        return states_;
    }
    std::size_t chunks() {
        const std::lock_guard lock(mutex_);
        return chunks_;
    }
    boost::asio::io_context& context() { return context_; }

  private:
    template <class Condition>
    bool wait(Condition condition, std::chrono::milliseconds limit) {
        std::unique_lock lock(mutex_);
        return changed_.wait_for(lock, limit, condition);
    }

    boost::asio::io_context context_;
    boost::asio::executor_work_guard<boost::asio::io_context::executor_type> guard_{context_.get_executor()};
    std::shared_ptr<Link> link_;
    std::mutex mutex_;
    std::condition_variable changed_;
    std::string text_;
    std::string detail_;
    std::vector<std::string> states_;
    std::size_t chunks_ = 0;
    std::thread thread_;
};

} // namespace turnstone
